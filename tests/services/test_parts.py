import pytest

from services.parts import PART_KINDS, BadRatedValues, check_rated, read_table, say_table
from services.positions import POSITIONS, WrongPosition, check_position

GOOD = {
    "battery": {"rated_wh": 504, "nominal_v": 36},
    "chain": {"pitch_mm": 12.7, "links": 299, "limit_pct": 0.75, "drivetrain": "derailleur", "speeds": 9},
    "hub_geared": {"gears": 14, "oil_ml": 25},
    "air_shock": {"max_kpa": 1900, "stroke_mm": 38},
    "elastomer": {"grade": "medium", "shore_a": 65},
    "motor": {"firmware_family": "tern-2", "nominal_w": 250, "nominal_v": 36},
}


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_whole_rated_values_pass_as_they_are(kind):
    assert check_rated(kind, GOOD[kind]) == GOOD[kind]


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_every_required_value_is_asked_for(kind):
    with pytest.raises(BadRatedValues) as refusal:
        check_rated(kind, {})
    assert {p.name for p in refusal.value.problems} == {v.name for v in PART_KINDS[kind].rated if v.required}


def test_optional_values_may_stay_away_or_empty():
    assert check_rated("air_shock", {**GOOD["air_shock"], "can_cm3": ""}) == GOOD["air_shock"]


@pytest.mark.parametrize(
    ("kind", "values", "name", "code"),
    [
        ("battery", {"rated_wh": 9000}, "rated_wh", "rated-value-out-of-range"),
        ("battery", {"rated_wh": "504"}, "rated_wh", "rated-value-no-number"),
        ("battery", {"rated_wh": True}, "rated_wh", "rated-value-no-number"),
        ("battery", {"rated_wh": float("nan")}, "rated_wh", "rated-value-no-number"),
        ("chain", {"pitch_mm": 12.9}, "pitch_mm", "rated-value-out-of-range"),  # ISO 606 / ISO 9633: 12.7 mm
        ("elastomer", {"grade": "squidgy"}, "grade", "rated-value-no-choice"),
        ("motor", {"firmware_family": 7}, "firmware_family", "rated-value-no-text"),
        ("motor", {"wheels": 3}, "wheels", "unknown-rated-value"),
    ],
)
def test_each_wrong_value_is_named_with_its_code(kind, values, name, code):
    with pytest.raises(BadRatedValues) as refusal:
        check_rated(kind, {**GOOD[kind], **values})
    assert [(p.name, p.code) for p in refusal.value.problems] == [(name, code)]


def test_an_unknown_kind_is_refused():
    with pytest.raises(BadRatedValues) as refusal:
        check_rated("anchor", {})
    assert refusal.value.problems[0].code == "unknown-part-kind"


def test_every_position_takes_known_kinds_only():
    assert {kind for position in POSITIONS.values() for kind in position.part_kinds} <= set(PART_KINDS)


def test_a_chain_goes_where_chains_go():
    check_position("chain", "chain")


@pytest.mark.parametrize(("position", "kind"), [("chain", "battery"), ("roof", "battery")])
def test_a_part_in_the_wrong_place_is_refused(position, kind):
    with pytest.raises(WrongPosition) as refusal:
        check_position(position, kind)
    assert refusal.value.field == "position"


SHOCK = {"max_kpa": 1725, "stroke_mm": 38}


def test_a_table_by_system_mass_passes_as_it_is():
    rated = {**SHOCK, "start_table": [[75, 960], [95.5, 1150]]}
    assert check_rated("air_shock", rated) == rated


@pytest.mark.parametrize(
    ("table", "code"),
    [
        ("75 960 1", "rated-value-no-table"),
        (7, "rated-value-no-table"),
        ([[75, 960], [95]], "rated-value-no-table"),
        ([[75, "960"], [95, 1150]], "rated-value-no-table"),
        ([[75, True], [95, 1150]], "rated-value-no-table"),
        ([[75, float("nan")], [95, 1150]], "rated-value-no-table"),
        ([[75, 960]], "rated-value-no-order"),
        ([[75, 960], [75, 1150]], "rated-value-no-order"),
        ([[n + 30, 500] for n in range(21)], "rated-value-no-order"),
        ([[10, 960], [95, 1150]], "rated-value-out-of-range"),
        ([[75, 960], [95, 1726]], "rated-value-out-of-range"),  # above max_kpa of the same shock
        ([[75, 49], [95, 1150]], "rated-value-out-of-range"),
    ],
)
def test_a_table_that_is_none_is_named_with_its_code(table, code):
    with pytest.raises(BadRatedValues) as refusal:
        check_rated("air_shock", {**SHOCK, "start_table": table})
    assert [(p.name, p.code) for p in refusal.value.problems] == [("start_table", code)]


def test_an_elastomer_is_made_from_a_lower_mass_to_a_higher_one():
    with pytest.raises(BadRatedValues) as refusal:
        check_rated("elastomer", {"grade": "soft", "shore_a": 60, "from_kg": 90, "below_kg": 50})
    assert [problem.message for problem in refusal.value.problems] == [
        "Made for a system mass from must be 30 to 50 kg."
    ]


def test_a_table_is_held_to_what_is_plausible_where_the_maximum_is_none():
    with pytest.raises(BadRatedValues) as refusal:
        check_rated("air_shock", {"max_kpa": "much", "stroke_mm": 38, "start_table": [[75, 960], [95, 3600]]})
    assert [p.name for p in refusal.value.problems] == ["max_kpa", "start_table"]


@pytest.mark.parametrize("text", ["75: 960, 95.5: 1150", "75 960\n95.5 1150\n", " 75 kg: 960 kPa\n95.5 kg: 1150 kPa"])
def test_a_table_is_read_as_people_type_it(text):
    assert read_table(text) == [[75, 960], [95.5, 1150]]


@pytest.mark.parametrize("text", ["", "75", "75: 960; 95: 1150", "75: 960, heavy: 1150", "75,5: 960"])
def test_a_text_that_is_no_table_comes_back_as_it_is(text):
    assert read_table(text) == text


def test_a_table_is_said_as_it_is_read():
    rows = [[75, 960], [95.5, 1150]]
    assert read_table(say_table(rows)) == rows
