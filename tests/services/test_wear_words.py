"""A wear forecast in words. Only the words are ours; the numbers come from real forecasts or are set by hand."""

from datetime import date
from types import MappingProxyType

import numpy as np
import pytest

from services.wear_dates import foresee
from services.wear_kinds import WEAR_KINDS, Reading
from services.wear_words import BESIDE, RATED, next_step, say_reading, words

CHAIN = MappingProxyType({"links": 114, "speeds": 9, "drivetrain": "derailleur"})


def day(year, month, day_):
    return float(date(year, month, day_).toordinal())


TODAY = day(2026, 2, 16)


def evenly(km, levels):
    """8 km a day from 2,900 km today, sure."""
    return TODAY + (np.asarray(km)[:, None] - 2900) / 8 + 0 * np.asarray(levels)


def chain(readings, riding=evenly, unit="km", today=TODAY):
    forecast = foresee("chain_elongation_pct", readings, rated=CHAIN, began=0.0, today=today, riding=riding)
    return words(forecast, readings, today=today, unit=unit)


READ = [Reading(1500.0, 0.33, context={"pitches": 50}), Reading(2900.0, 0.62, context={"pitches": 50})]


def test_a_chain_is_told_with_its_reading_its_limit_and_its_dates():
    assert chain(READ) == (
        "0.62 % at 2,900 km; 0.75 % between 3,400 and 3,900 km: mid-April to late June, most likely 17 May."
    )


def test_a_reader_of_miles_reads_miles():
    assert chain(READ, unit="mi").startswith("0.62 % at 1,802 mi; 0.75 % between 2,100 and 2,400 mi: ")


def test_without_riding_only_the_distance_is_told():
    assert chain(READ, riding=None) == "0.62 % at 2,900 km; 0.75 % between 3,400 and 3,900 km."


def test_a_distance_known_to_the_hundred_is_about():
    fine = [
        Reading(1000.0 * n, 0.2515 * n, context={"pitches": 200}) for n in (1.0, 2.0, 2.8, 2.85, 2.9, 2.92, 2.94, 2.96)
    ]
    assert "0.75 % at about 3,000 km" in chain(fine, riding=None)


def test_a_worn_chain_has_met_its_limit():
    readings = [*READ, Reading(3800.0, 0.85)]
    assert chain(readings) == "0.85 % at 3,800 km; it has met its limit of 0.75 %."


def test_without_a_measurement_it_cannot_be_told():
    assert chain([]).startswith("Cannot tell yet: no measurement. Measure again by ")


def test_too_wide_a_range_is_told_as_hardly_before():
    readings = [Reading(TODAY - 300, 67)]
    forecast = foresee("hardness_shore_a", readings, rated={"shore_a": 65}, began=TODAY - 700, today=TODAY)
    told = words(forecast, readings, today=TODAY)
    assert told.startswith("Cannot tell yet: one measurement and a range too wide to plan by. Hardly before ")
    assert told.endswith(".")


def test_a_reading_that_does_not_fit_is_told():
    one = [*READ, Reading(2950.0, 1.4)]
    assert chain(one).endswith("1 reading does not fit and is left out: look at it again.")
    assert chain([*one, Reading(2960.0, 1.5)]).endswith("2 readings do not fit and are left out: look at them again.")


def test_a_far_limit_is_not_before():
    told = chain([Reading(900.0, 0.10, context={"pitches": 50})], riding=never)
    assert told.startswith("0.10 % at 900 km; 0.75 % between ")
    assert told.endswith(" km: more than two years.")


def never(km, levels):
    return np.full((len(km), len(levels)), np.inf)


def test_a_hardly_worn_part_is_further_off_than_can_be_told():
    slow = [Reading(1000.0 * n, 0.005 * n, context={"pitches": 100}) for n in (10, 20, 30, 40)]
    assert chain(slow, riding=None) == "0.20 % at 40,000 km; 0.75 % is further off than can be told."


def test_a_distance_without_an_end_is_told_as_not_before():
    slow = [Reading(1000.0 * n, 0.0125 * n, context={"pitches": 100}) for n in (2, 4, 6, 8)]
    told = chain(slow, riding=never)
    assert told.startswith("0.10 % at 8,000 km; 0.75 % not before ")
    assert told.endswith(" km: more than two years.")
    assert "Hardly before " in (km := chain(slow, riding=None))
    assert " km. Measure again by " in km


def test_a_shock_is_told_by_days():
    noted = {"temperature_c": 20.0, "set_kpa": 1000.0}
    readings = [Reading(TODAY - 60 * i, 940, context=noted, renewed=True) for i in (3, 2, 1)]
    forecast = foresee("shock_pressure", readings, rated={}, began=TODAY - 240, today=TODAY)
    told = words(forecast, readings, today=TODAY)
    assert told.startswith("940 kPa on 18 Dec 2025; 850 kPa: ")
    assert "most likely" in told


def test_a_battery_carries_its_caution():
    readings = [Reading(TODAY - 365 * i, 504 - 30 * (5 - i), cycles=100 * (5 - i)) for i in (4, 3, 2, 1, 0)]
    forecast = foresee("battery_capacity_wh", readings, rated={"rated_wh": 504}, began=TODAY - 5 * 365, today=TODAY)
    assert words(forecast, readings, today=TODAY).endswith(
        "Below 80 % the fall can turn sudden; nothing is told beyond ten years."
    )


@pytest.mark.parametrize(
    ("between", "told"),
    [((0.5, 0.75), "0.50 % to 0.75 %"), ((-np.inf, 0.5), "below 0.50 %"), ((0.75, np.inf), "at least 0.75 %")],
)
def test_a_gauge_is_told_by_its_ends(between, told):
    readings = [Reading(2900.0, between=between)]
    forecast = foresee("chain_elongation_pct", readings, rated=CHAIN, began=0.0, today=TODAY)
    assert say_reading(forecast, readings[0]) == told


def foreseen(code, context, rated=MappingProxyType({})):
    return foresee(code, [Reading(TODAY, 70, context=context)], rated=rated, began=TODAY - 300, today=TODAY)


@pytest.mark.parametrize(
    ("context", "told", "step"),
    [
        ({"temperature_c": 20}, "the pressure it is set to is", "the pressure it is set to"),
        ({}, "the temperature and the pressure it is set to are", "the temperature and the pressure it is set to"),
    ],
)
def test_what_was_not_noted_beside_is_asked_for(context, told, step):
    found = foreseen("shock_pressure", context)
    assert words(found, [], today=TODAY) == f"Cannot tell yet: {told} not known."
    assert next_step(found) == f"Note {step} beside the next measurement."


def test_what_its_part_type_does_not_say_is_asked_for():
    found = foreseen("hardness_shore_a", {})
    assert words(found, [], today=TODAY) == "Cannot tell yet: its hardness when new (Shore A) is not known."
    assert next_step(found) == "Add its hardness when new (Shore A) to its part type."


def test_what_is_told_needs_no_next_step_and_too_wide_a_range_one_more_measurement():
    wide = foreseen("hardness_shore_a", {}, {"shore_a": 65})
    assert next_step(wide).startswith("One more measurement narrows the range")
    assert next_step(foresee("chain_elongation_pct", READ, rated=CHAIN, began=0.0, today=TODAY)) == ""


def test_all_that_a_quantity_needs_has_words():
    needed = {name for kind in WEAR_KINDS.values() for name in kind.needs}
    assert needed == set(BESIDE | RATED)
