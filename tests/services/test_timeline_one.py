"""One trike's readings judged together.

"Worked example of the method's prototype": cases and outcomes of its edge-case list; it gives outcomes and chances but not
every value typed, so the values here are chosen to fit (delivered 2025-01-01, 2,400 km on 2025-08-29).
"""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.fleet_rates import SHIPPED
from services.odometer import DisplayChange, build_timeline
from services.timeline_one import label_readings

ZERO = float(date(2025, 1, 1).toordinal())
REGULAR = [(100, 600), (200, 1800), (240, 2400)]


def judged(rows, source="bench", **more):
    for name in ("changes",):
        more[name] = [DisplayChange(ZERO + c.day, c.old_final_km, c.new_start_km) for c in more.get(name, ())]
    return label_readings(
        [ZERO + day for day, _ in rows],
        [km for _, km in rows],
        [source] * len(rows),
        zero_day=ZERO,
        fleet=SHIPPED,
        **more,
    )


def statuses(rows, **more):
    return [reading.status for reading in judged(rows, **more).readings]


def last(rows, **more):
    return judged(rows, **more).readings[-1]


def test_no_reading_is_the_handover_alone():
    # worked example of the method's prototype: no reading since delivery, life 0 km
    line = judged([]).timeline
    assert (line.days.tolist(), line.life_km.tolist()) == ([ZERO], [0.0])


@pytest.mark.parametrize(
    ("rows", "source", "chance"),
    [([(200, 1800)], "bench", 0.018), ([(3, 60)], "owner", 0.025)],
)
def test_a_single_reading_is_believed_with_the_prototypes_doubt(rows, source, chance):
    # worked example of the method's prototype: P(wrong) 0.018 and 0.025, three digits given
    only = last(rows, source=source)
    assert only.status == "accepted"
    assert only.p_wrong == pytest.approx(chance, abs=0.003)


def test_regular_readings_are_accepted_without_a_word():
    # worked example of the method's prototype
    found = judged(REGULAR)
    assert [(reading.status, reading.reason) for reading in found.readings] == [("accepted", "")] * 3
    assert found.timeline.life_km.tolist() == [0, 600, 1800, 2400]


@pytest.mark.parametrize("again", [2400, 2405, 2396])
def test_a_second_look_is_no_error(again):
    # worked example of the method's prototype: the same value, 5 km more, 4 km less (rounding)
    found = judged([*REGULAR, (240 if again >= 2400 else 250, again)])
    assert found.readings[-1].status == "accepted"
    assert found.timeline.last_km == max(again, 2400)


def test_a_contradiction_of_the_same_day_is_put_right_as_a_slip_of_the_unit():
    # worked example of the method's prototype: 2,400 and 4,200 the same day; life 2,610 km
    contradicting = last([*REGULAR, (240, 4200)])
    assert contradicting.status in {"corrected", "to confirm"}
    assert contradicting.label == "km_as_miles"
    assert contradicting.life_km == pytest.approx(2610, abs=1)


@pytest.mark.parametrize(("low", "lost"), [(150, False), (240, True)])
def test_a_drop_with_nothing_after_it_is_held_and_asked_about(low, lost):
    # worked example of the method's prototype: outlier, P(wrong) 0.72 and 0.75, P(reset) 0.29 and 0.25; life stays 2,400 km
    found = judged([*REGULAR, (270, low)])
    drop = found.readings[-1]
    assert (drop.status, drop.label, drop.life_km) == ("to confirm", "outlier", None)
    assert 0.5 < drop.p_wrong < 0.9
    assert 0.1 < drop.p_reset < 0.5
    assert "display_reset" in [meaning.code for meaning in drop.meanings]
    assert found.timeline.last_km == 2400


def test_a_drop_that_no_fresh_display_explains_is_asked_about_too():
    # a new display cannot have run 1,200 km in a day, and as miles it would still be a drop
    drop = last([*REGULAR, (241, 1200)])
    assert drop.p_wrong > 0.9
    assert drop.status == "to confirm"


def test_a_second_low_reading_turns_the_drop_into_a_reset():
    # worked example of the method's prototype: P(reset) 0.997 once a further reading confirms it
    found = judged([*REGULAR, (270, 150), (330, 400)])
    assert [reading.status for reading in found.readings] == ["accepted"] * 3 + ["reset", "accepted"]
    assert found.readings[3].p_reset > 0.95
    assert found.timeline.estimated.tolist() == [False, False, False, False, True, False]
    assert found.timeline.last_km - found.timeline.life_km[4] == 250


@pytest.mark.parametrize(
    ("typed", "label", "says"),
    [
        (1620, "miles_as_km", "as miles it would be 2,607 km"),
        (4200, "km_as_miles", "as kilometres it would be 2,610 km"),
    ],
)
def test_a_slip_of_the_unit_between_two_good_readings_is_put_right_with_its_reason(typed, label, says):
    # worked example of the method's prototype: P(wrong) 0.998 and 0.97
    slip = judged([*REGULAR, (270, typed), (330, 2900)]).readings[3]
    assert (slip.status, slip.label) == ("corrected", label)
    assert slip.p_wrong > 0.95
    assert says in slip.reason
    assert slip.meanings[0].code == label


@pytest.mark.parametrize("rows", [[*REGULAR, (270, 24_400)], [*REGULAR, (270, 24_400), (330, 2900)]])
def test_a_digit_typed_twice_is_rejected_with_what_it_may_have_been(rows):
    # worked example of the method's prototype: P(wrong) 1.0, as last reading and with one after it
    doubled = judged(rows).readings[3]
    assert (doubled.status, doubled.life_km) == ("rejected", None)
    assert doubled.p_wrong > 0.99
    assert 2440 in [meaning.km for meaning in doubled.meanings if meaning.code == "doubled"]


def test_a_parked_trike_is_believed_three_times_over():
    # worked example of the method's prototype: three equal readings
    rows = [*REGULAR, (400, 2400), (580, 2400), (760, 2400)]
    assert statuses(rows) == ["accepted"] * 6
    assert judged(rows).timeline.last_km == 2400


def test_a_very_old_last_reading_is_still_believed():
    # worked example of the method's prototype
    assert statuses([(200, 1300), (400, 2600)]) == ["accepted"] * 2


def test_what_a_person_decided_stands():
    accepted = last([*REGULAR, (270, 5000)], verdicts=["", "", "", "accepted"])
    assert (accepted.status, accepted.life_km, accepted.meanings) == ("accepted", 5000, ())
    rejected = judged([*REGULAR, (270, 2500)], verdicts=["", "", "", "rejected"])
    assert (rejected.readings[-1].status, rejected.timeline.last_km) == ("rejected", 2400)
    unit = last([*REGULAR, (270, 1620)], verdicts=["", "", "", "miles_as_km"])
    assert (unit.status, unit.life_km) == ("corrected", pytest.approx(1620 * 1.609344))


def test_two_decisions_that_contradict_each_other_still_give_a_timeline():
    # 90,000 km in a day is forbidden; a person has said so twice
    found = judged([(100, 600), (101, 90_000), (102, 700)], verdicts=["accepted"] * 3)
    assert [reading.label for reading in found.readings] == ["ok"] * 3
    assert (np.diff(found.timeline.life_km) >= 0).all()


def test_a_reading_of_tomorrow_week_is_set_aside_with_a_reason():
    early = last([*REGULAR, (270, 2500)], now_day=ZERO + 250)
    assert (early.status, early.life_km) == ("set aside", None)
    assert "after today" in early.reason


def test_values_in_miles_are_judged_and_spoken_of_in_miles():
    # 1,491 mi is 2,400 km; then 927 mi, what 1,491 km would be
    rows = [(100, 373), (200, 1118), (240, 1491), (270, 16_200), (330, 1802)]
    found = judged(rows, units=["mi"] * 5)
    assert found.timeline.last_km == pytest.approx(1802 * 1.609344)
    assert "16,200 mi" in found.readings[3].reason
    assert "1,620 mi" in found.readings[3].meanings[0].words


def test_the_old_displays_last_value_is_a_point_of_the_timeline():
    line = judged([*REGULAR, (270, 150)], changes=[DisplayChange(250, 2450)]).timeline
    assert line.life_at(ZERO + 250) == 2450
    assert line.last_km == 2600


def test_a_display_that_ended_unread_is_a_flagged_guess():
    line = judged([*REGULAR, (270, 150)], changes=[DisplayChange(250, None)]).timeline
    assert line.is_estimate([ZERO + 240, ZERO + 249, ZERO + 250]).tolist() == [False, True, True]
    assert line.last_km == pytest.approx(float(line.life_at(ZERO + 250)) + 150)


def test_a_doubted_reading_is_compared_with_its_own_display():
    swapped = [DisplayChange(250, 2450)]
    found = judged([*REGULAR, (270, 150), (300, 2900), (330, 400)], changes=swapped)
    assert found.readings[4].status == "rejected"
    first = judged([*REGULAR, (270, 40_000), (330, 400)], changes=[DisplayChange(250, None)]).readings[3]
    assert first.status == "rejected"
    assert 400 in [meaning.km for meaning in first.meanings] or first.meanings == ()


def test_the_first_reading_of_all_can_be_doubted_too():
    first = judged([(30, 50_000), (100, 600), (200, 1800)]).readings[0]
    assert first.status == "rejected"


def test_without_doubt_the_timeline_is_that_of_the_plain_sum():
    plain = build_timeline([ZERO + day for day, _ in REGULAR], [km for _, km in REGULAR], zero_day=ZERO)
    assert judged(REGULAR).timeline.life_km.tolist() == plain.life_km.tolist()


drawn = st.lists(st.tuples(st.integers(0, 1500), st.integers(0, 20_000)), max_size=10)
changed = st.lists(
    st.builds(DisplayChange, st.integers(1, 1500), st.one_of(st.none(), st.integers(0, 20_000)), st.integers(0, 500)),
    max_size=2,
)


@settings(deadline=None, max_examples=40)
@given(drawn, changed)
def test_life_never_falls_whatever_was_typed(rows, changes):
    assert (np.diff(judged(rows, changes=changes).timeline.life_km) >= 0).all()


@settings(deadline=None, max_examples=40)
@given(drawn, st.integers(0, 9))
def test_a_late_reading_gives_the_same_as_in_time(rows, at):
    late = rows[:at] + rows[at + 1 :] + rows[at : at + 1]
    in_time, came_late = judged(rows), judged(late)
    assert in_time.timeline.life_km.tolist() == came_late.timeline.life_km.tolist()
    assert sorted(r.p_wrong for r in in_time.readings) == sorted(r.p_wrong for r in came_late.readings)
