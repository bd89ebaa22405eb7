"""Wear and riding composed to dates; what is told and what cannot be told yet."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri
from scipy.stats import norm

from services.units import to_km
from services.wear_dates import EQUAL_SHARES, equal_quantiles, foresee, mixed_days, points_of, table_riding
from services.wear_kinds import WEAR_KINDS, Reading
from services.wear_model import Values

TODAY = float(date(2026, 2, 16).toordinal())
LEVELS = (0.1, 0.5, 0.9)
CHAIN = {"links": 114, "speeds": 9, "drivetrain": "derailleur"}
READ = [Reading(1500.0, 0.33, context={"pitches": 50}), Reading(2900.0, 0.62, context={"pitches": 50})]


def riding(km, levels):
    """8 km a day, a quarter up or down, from 2,900 km today."""
    return TODAY + (np.asarray(km)[:, None] - 2900) / (8 * np.exp(0.25 * ndtri(1 - np.asarray(levels))))


def never(km, levels):
    return np.full((len(km), len(levels)), np.inf)


def chain(readings=READ, riding=riding, **more):
    return foresee("chain_elongation_pct", readings, rated=CHAIN, began=0.0, today=TODAY, riding=riding, **more)


def shock(readings, began=TODAY - 400, today=TODAY):
    return foresee("shock_pressure", readings, rated={}, began=began, today=today)


def test_two_spreads_add_as_normal_ones_do():
    # km N(1000, 200) at 10 km a day, the day itself N(., 15): together N(100, sqrt(20^2 + 15^2) = 25)
    days = mixed_days(1000 + 200 * ndtri(EQUAL_SHARES), lambda km, p: km[:, None] / 10 + 15 * ndtri(p), LEVELS)
    assert days == pytest.approx(norm(100, 25).ppf(LEVELS), abs=0.7)


def test_with_certain_riding_the_dates_are_the_distances():
    forecast = chain(riding=lambda km, p: TODAY + (km[:, None] - 2900) / 8 + 0 * p)
    assert forecast.days == pytest.approx(TODAY + (forecast.at - 2900) / 8, abs=2)


def test_quantiles_beyond_what_comes_are_never():
    days = np.array([5.0, 1.0, np.inf, 3.0])
    assert equal_quantiles(days, (0.125, 0.25, 0.5, 0.625, 0.7, 0.99)).tolist() == [1.0, 2.0, 4.0, 5.0, np.inf, np.inf]
    assert np.isinf(mixed_days(np.array([np.inf]), riding, LEVELS)).all()


def test_a_table_of_days_serves_as_riding():
    table = table_riding([0, 1000, 5000], [0.1, 0.9], np.array([[0, 0], [80, 120], [400, 600]]))
    assert table(np.array([1000.0, 3000.0]), np.array([0.1, 0.5, 0.9])).tolist() == [[80, 100, 120], [240, 300, 360]]


def test_a_chain_read_twice_is_told_as_dates():
    forecast = chain()
    assert forecast.tells
    assert forecast.why == ""
    assert forecast.counted == 2
    assert 3200 < forecast.at[0] < forecast.at[1] < forecast.at[2] < 4200
    assert TODAY < forecast.warn_days[0] <= forecast.days[0] < forecast.days[1] < forecast.days[2]
    assert forecast.limits == pytest.approx((0.6, 0.75))
    assert forecast.measure_again == TODAY + 14


@given(st.permutations(range(4)))
@settings(deadline=None, max_examples=8)
def test_the_order_of_readings_changes_no_date(order):
    readings = [*READ, Reading(700.0, 0.15), Reading(2100.0, between=(0.25, 0.5))]
    assert (chain([readings[i] for i in order]).days == chain(readings).days).all()


@given(st.floats(500, 2000), st.floats(0.1, 0.5))
@settings(deadline=None, max_examples=10)
def test_miles_and_km_give_the_same_dates(miles, value):
    in_km = chain([Reading(miles * 1.609344, value)])
    assert chain([Reading(to_km(miles, "mi"), value)]).days == pytest.approx(in_km.days, rel=1e-12)


@given(st.lists(st.tuples(st.floats(100, 5000), st.floats(0.0, 1.5)), max_size=5))
@settings(deadline=None, max_examples=25)
def test_ranges_stand_in_order_and_never_before_today(pairs):
    forecast = chain([Reading(at, value) for at, value in pairs])
    for low, middle, high in (forecast.days, forecast.warn_days):
        assert TODAY <= low <= middle <= high


def test_without_a_measurement_nothing_is_told():
    forecast = chain([])
    assert (forecast.tells, forecast.why, forecast.counted) == (False, "no measurement", 0)


def test_one_measurement_that_does_not_fit_tells_nothing():
    forecast = chain([Reading(500.0, 1.3)])
    assert (forecast.tells, forecast.why, forecast.laid_aside) == (False, "the one measurement does not fit", (0,))


def test_two_measurements_that_do_not_fit_tell_nothing():
    forecast = chain([Reading(500.0, 1.3), Reading(600.0, -0.6)])
    assert (forecast.why, forecast.laid_aside) == ("no measurement fits", (0, 1))


def test_a_reading_that_does_not_fit_is_named_by_its_place():
    forecast = chain([READ[0], Reading(2000.0, 1.4), READ[1]])
    assert (forecast.laid_aside, forecast.counted) == ((1,), 2)


def test_a_worn_chain_is_due_today():
    forecast = chain([*READ, Reading(3800.0, 0.85)])
    assert forecast.past > 0.5
    assert forecast.days.tolist() == [TODAY] * 3
    assert forecast.tells


def test_without_riding_it_is_told_in_km():
    forecast = chain(riding=None)
    assert forecast.tells
    assert np.isinf(forecast.days).all()
    assert forecast.at == pytest.approx(chain().at)


def test_a_limit_no_riding_reaches_is_not_before():
    forecast = chain([Reading(900.0, 0.1)], riding=never)
    assert forecast.tells
    assert np.isinf(forecast.days).all()
    assert forecast.measure_again == TODAY + 365


def test_a_range_without_end_is_not_told():
    def slow(km, levels):
        return np.where(np.asarray(levels) < 0.5, TODAY + 300.0, np.inf) + 0 * km[:, None]

    assert chain(riding=slow).why == "two measurements and a range too wide to plan by"


def test_a_range_that_has_begun_and_ends_in_over_a_year_is_not_told():
    def wide(km, levels):
        return TODAY + 400 * np.asarray(levels) + 40 - 80 * (np.asarray(levels) < 0.15) + 0 * km[:, None]

    def narrower(km, levels):
        return np.minimum(wide(km, levels), TODAY + 360)

    assert chain(riding=wide).why == "two measurements and a range too wide to plan by"
    assert chain(riding=narrower).tells


def test_an_elastomer_read_once_cannot_be_told():
    forecast = foresee(
        "hardness_shore_a", [Reading(TODAY - 300, 67)], rated={"shore_a": 65}, began=TODAY - 700, today=TODAY
    )
    assert forecast.why == "one measurement and a range too wide to plan by"
    assert not forecast.tells


def test_what_is_not_known_of_the_part_is_said():
    forecast = foresee("battery_capacity_wh", [Reading(TODAY, 450)], rated={}, began=TODAY - 300, today=TODAY)
    assert (forecast.why, forecast.unusable, forecast.tells) == ("not known: rated wh", (0,), False)


def test_fillings_of_a_shock_teach_one_leak():
    noted = {"temperature_c": 20.0, "set_kpa": 1000.0}
    filled = [Reading(TODAY - 300 + 60 * i, 940, context=noted, renewed=True) for i in range(5)]
    forecast = shock(filled, began=TODAY - 360, today=TODAY - 60)
    # 6 % in 60 days: 15 % after 157.6 days, from the last filling on (leak goes with the gauge pressure)
    assert forecast.origin == TODAY - 60
    assert forecast.at[1] - forecast.origin == pytest.approx(157.6, rel=0.05)
    assert forecast.tells


def test_new_pads_begin_a_new_life_at_the_reading_before():
    readings = [Reading(1000.0, 2.0), Reading(3000.0, 1.2), Reading(3500.0, 2.4), Reading(5000.0, 1.7)]
    points, places, origin = points_of(WEAR_KINDS["pad_mm"], readings, {}, 0.0)
    assert [point.life for point in points] == [1, 1, 0, 0]
    assert [point.u for point in points] == pytest.approx([1.0, 3.0, 0.5, 2.0])
    assert (places, origin) == ([0, 1, 2, 3], 3000.0)


def test_readings_from_before_the_part_was_fitted_or_without_what_they_need_are_unusable():
    noted = {"temperature_c": 20.0, "set_kpa": 1000.0}
    readings = [Reading(TODAY - 500, 990, context=noted), Reading(TODAY - 100, 930, context=noted),
                Reading(TODAY - 50, 910)]  # fmt: skip
    assert shock(readings).unusable == (0, 2)


def test_a_battery_ages_by_years_and_by_its_own_cycles():
    def of(cycles, **more):
        readings = [Reading(TODAY - 365, 450, cycles=cycles)]
        return foresee(
            "battery_capacity_wh", readings, rated={"rated_wh": 504}, began=TODAY - 1096, today=TODAY, **more
        )

    hard, easy = of(400.0), of(400.0, cycles_per_year=10.0)
    assert hard.at[0] < easy.at[0]
    assert of(0.0).at[0] > TODAY  # cycles unknown: typical ones ahead
    assert "sudden" in hard.kind.caution


def test_no_battery_is_told_beyond_ten_years():
    readings = [Reading(TODAY - 30, 500, cycles=20), Reading(TODAY - 5, 499, cycles=21)]
    forecast = foresee("battery_capacity_wh", readings, rated={"rated_wh": 504}, began=TODAY - 400, today=TODAY)
    assert np.isinf(forecast.at[2])


def test_a_fitted_fleet_is_used_when_given():
    slow = Values((0.0, 0.05), (0.02, 0.01), 0.012, 0.025, parts=80)
    assert chain(READ[:1], fleet=slow).at[1] > chain(READ[:1]).at[1]
