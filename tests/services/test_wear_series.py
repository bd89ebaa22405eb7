"""Measurements made ready for reckoning: lives, what holds until noted again, charge cycles, the day it began to age."""

from datetime import date

import pytest

from services.wear_kinds import WEAR_KINDS, Reading
from services.wear_series import Taken, aging_since, cycles_at, track_of, with_what_was_set, without_unmeasured

AIR = WEAR_KINDS["shock_pressure"]
DAY = float(date(2026, 3, 1).toordinal())


def shock(days, *, renewed_on=(), began=DAY - 100, context=None):
    taken = [Taken(day, 900.0, context or {"set_kpa": 1000.0, "temperature_c": 20.0}) for day in days]
    return track_of(AIR, taken, rated={}, at=days, began=began, cycles=[0.0] * len(days), renewed_on=renewed_on)


def test_readings_stand_where_they_were_taken_with_what_was_noted():
    track = track_of(
        WEAR_KINDS["battery_capacity_wh"], [Taken(DAY, 480.0, {"note": 1.0})], rated={"rated_wh": 504}, at=[DAY],
        began=DAY - 50, cycles=[80.0],
    )  # fmt: skip
    assert track.readings == (Reading(DAY, 480.0, context={"note": 1.0}, cycles=80.0),)
    assert (track.reckoned, track.days, track.began) == (track.readings, (DAY,), DAY - 50)


def test_air_put_in_on_the_day_of_a_measurement_renews_after_it():
    track = shock([DAY + 0.4, DAY + 60.4], renewed_on=[DAY + 0.7])
    assert [reading.renewed for reading in track.readings] == [True, False]
    assert track.reckoned == track.readings


def test_air_put_in_unmeasured_ends_the_life_and_takes_the_time_before_it_out():
    track = shock([DAY, DAY + 100], renewed_on=[DAY + 50])
    first, second = track.reckoned
    assert (first.at, first.renewed) == (DAY + 50, True)  # half of the hundred days taught nothing
    assert (second.at, second.renewed) == (DAY + 100, False)
    assert track.began == DAY - 50  # its first life is as long as before
    assert not track.readings[0].renewed  # what is shown stays as it was measured


def test_air_put_in_before_any_measurement_begins_the_life():
    assert shock([DAY], renewed_on=[DAY - 30]).began == DAY - 30


def test_two_unmeasured_fillings_leave_lives_of_the_same_length():
    days = [DAY, DAY + 100, DAY + 200]
    readings = tuple(Reading(day, 900.0) for day in days)
    moved, began = without_unmeasured(readings, DAY - 40, [DAY + 50, DAY + 130])
    assert [reading.at for reading in moved] == [DAY + 80, DAY + 130, DAY + 200]
    assert [reading.renewed for reading in moved] == [True, True, False]
    assert moved[0].at - began == 40
    assert moved[1].at - moved[0].at == 50  # from the first filling to the second measurement


def test_without_a_known_age_nothing_is_moved_and_nothing_taught():
    track = shock([DAY], renewed_on=[DAY - 30], began=None)
    assert (track.began, track.reckoned, track.points) == (None, track.readings, [])


def test_a_track_teaches_its_leak():
    # 900 of 1,000 kPa: -ln 0.9 = 0.10536, 100 days after it was filled
    point = shock([DAY]).points[0]
    assert (point.u, point.low) == (pytest.approx(1.0), pytest.approx(0.10536, abs=1e-5))


def test_the_set_pressure_holds_until_it_is_noted_again():
    noted = ({"temperature_c": 5.0}, {"set_kpa": 900.0}, {"temperature_c": 9.0}, {"set_kpa": 950.0})
    taken = [Taken(DAY + place, 800.0, context) for place, context in enumerate(noted)]
    contexts = with_what_was_set(AIR, taken)
    assert [context.get("set_kpa") for context in contexts] == [None, 900.0, 900.0, 950.0]
    assert [context.get("temperature_c") for context in contexts] == [5.0, None, 9.0, None]  # the day's own


def test_cycles_lie_between_what_the_meter_showed():
    meter = [(DAY + 100, 40.0)]
    assert cycles_at([DAY + 50, DAY + 100], meter, DAY) == [pytest.approx(20.0), pytest.approx(40.0)]
    assert cycles_at([DAY + 100], meter, None) == [pytest.approx(40.0)]
    assert cycles_at([DAY, DAY + 1], [], DAY) == [0.0, 0.0]


@pytest.mark.parametrize(
    ("fitted", "made", "began"),
    [(DAY - 50, DAY - 90, DAY - 50), (None, DAY - 90, DAY - 90), (None, None, DAY), (DAY + 5, None, DAY)],
)
def test_a_part_ages_from_its_first_fitting_else_from_its_making_and_never_after_it_was_measured(fitted, made, began):
    assert aging_since(DAY, fitted_first=fitted, made=made) == began
