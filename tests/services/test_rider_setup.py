"""What is proposed for a rider, and what is said where nothing is. Tables and limits are made up for the tests."""

import pytest

from services.rider_setup import (
    Fitted,
    GradeRange,
    Shock,
    judge_sag,
    over_limits,
    set_up,
    suggest_grade,
    suggest_pressure,
    system_mass_kg,
)

SHOCK = Shock("A38", 1725, 38, ((75, 960), (95, 1150), (115, 1350)))
RANGES = (GradeRange("soft", 50, 90, "PMP-55"), GradeRange("firm", 90, 140, "PMP-75"))


def test_system_mass_is_rider_luggage_and_trike():
    assert system_mass_kg(80, 6.5, 19) == 105.5
    assert system_mass_kg(80, None, 19) == 99


@pytest.mark.parametrize(  # own design rule, no source: half-open bands of the rider's mass
    ("kg", "grade"), [(20, "soft"), (64.9, "soft"), (65.0, "medium"), (89.9, "medium"), (90.0, "firm"), (250, "firm")]
)
def test_the_default_bands_are_half_open(kg, grade):
    assert suggest_grade(None, kg).value == grade


def test_the_default_bands_say_that_they_have_no_source():
    assert suggest_grade(None, 70).words == "medium: rider with gear 65 to below 90 kg (own design rule, no source)."


@pytest.mark.parametrize(("kg", "grade"), [(50, "soft"), (89.9, "soft"), (90, "firm"), (139.9, "firm")])
def test_the_makers_own_ranges_win_and_are_half_open(kg, grade):
    assert suggest_grade(kg, 20, RANGES).value == grade


@pytest.mark.parametrize("kg", [49.9, 140])
def test_outside_the_makers_ranges_no_grade_is_proposed(kg):
    found = suggest_grade(kg, 80, RANGES)
    assert found.value is None
    assert "outside what the maker's types cover (50 to 140 kg)" in found.words


def test_without_the_mass_it_goes_by_no_grade_is_proposed():
    assert "system mass, and that is not given" in suggest_grade(None, 80, RANGES).words
    assert "rider with gear, and that mass is not given" in suggest_grade(100, None).words
    assert suggest_grade(None, 19).value is None


@pytest.mark.parametrize(("kg", "kpa"), [(75, 960), (85, 1055), (95, 1150), (105, 1250), (115, 1350)])
def test_pressure_lies_on_the_line_between_the_rows_of_the_shocks_own_table(kg, kpa):
    assert suggest_pressure(kg, SHOCK).value == pytest.approx(kpa)


@pytest.mark.parametrize("kg", [74.9, 115.1])
def test_pressure_is_never_carried_beyond_the_table(kg):
    found = suggest_pressure(kg, SHOCK)
    assert found.value is None
    assert f"{kg:g} kg lies outside the table of A38 (75 to 115 kg)" in found.words


def test_pressure_is_never_above_the_maximum():
    found = suggest_pressure(115, Shock("A38", 1200, 38, SHOCK.table))
    assert found.value == 1200
    assert "the maximum of A38; its table asks for more" in found.words


def test_a_pressure_that_is_proposed_stands_there_in_bar_and_psi():
    assert suggest_pressure(95, SHOCK).words == "11.5 bar (167 psi): from the table of A38 for 95 kg."


@pytest.mark.parametrize(
    ("kg", "shock", "words"),
    [(90, None, "no air shock is fitted"), (90, Shock("B"), "has no table"), (None, SHOCK, "that is not given")],
)
def test_where_no_pressure_is_proposed_the_reason_is_told(kg, shock, words):
    found = suggest_pressure(kg, shock)
    assert found.value is None
    assert words in found.words


@pytest.mark.parametrize(  # 11.4 mm of 38 mm are 30.0 %: a trike maker's manual asks for "around 30 %"
    ("mm", "level", "words"),
    [
        (11.4, "ok", "30 % of 38 mm - good"),
        (9.5, "ok", "25 %"),
        (9.4, "watch", "let some air out"),
        (13.3, "ok", "35 %"),
        (13.4, "watch", "add air"),
    ],
)
def test_sag_is_told_as_a_share_of_the_stroke(mm, level, words):
    sag = judge_sag(mm, SHOCK)
    assert sag.level == level
    assert words in sag.words


@pytest.mark.parametrize("mm", [-1, 39])
def test_sag_that_no_shock_can_have_is_no_share(mm):
    assert judge_sag(mm, SHOCK).pct is None


@pytest.mark.parametrize("shock", [None, Shock("B")])
def test_without_a_stroke_sag_is_no_share(shock):
    assert judge_sag(9, shock).pct is None


def test_what_goes_beyond_a_makers_limit_is_named_with_its_field():
    fitted = Fitted(shock=SHOCK, frame="Fenwalk 26 frame", max_system_kg=140)
    assert over_limits(fitted, 140, 1725) == []
    assert [field for field, _ in over_limits(fitted, 140.1, 1725.1)] == ["system_mass_kg", "shock_pressure_kpa"]


def test_without_limits_nothing_goes_beyond_one():
    assert over_limits(Fitted(), 400, 3000) == []


def test_a_set_up_is_kept_with_its_reasons():
    found = set_up(Fitted(shock=SHOCK, grades=("soft", "soft")), system_kg=95, rider_kg=70, sag_mm=9.5)
    assert found.note == "Soft elastomers are fitted, medium ones are proposed."
    kept = found.as_kept()
    assert (kept["grade"], kept["pressure_kpa"], kept["sag_pct"], kept["sag_band_pct"]) == (
        "medium",
        1150,
        25.0,
        [25, 35],
    )


def test_a_set_up_without_measures_is_kept_without_them():
    found = set_up(Fitted(grades=("medium",)), rider_kg=70)
    assert (found.note, found.sag, found.as_kept()["sag_pct"]) == ("", None, None)
