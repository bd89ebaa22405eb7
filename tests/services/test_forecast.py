"""Distance on a day and the day of a distance."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.fleet_rates import SHIPPED
from services.forecast import LEVELS, chance_by, date_of, distance_band, distance_on
from services.levels import fit_levels
from services.rates import RateState, fold, rate_of, start_rate
from services.season import FLAT_MONTHS, season_clock
from services.student import t_quantile
from services.units import km_from_miles

ZERO = 738_900.0
HORIZON = ZERO + 2000.0
MILE = km_from_miles(1.0)


def recalibrated():
    rng = np.random.default_rng(3)
    levels = fit_levels(rng.random(9000) ** 1.5, rng.integers(0, 6, 9000), rng.lognormal(-1.5, 1.2, 9000))
    return replace(SHIPPED, levels=levels)


FLEET = recalibrated()
STATES = st.builds(
    RateState, m=st.floats(4.5, 9.5), P=st.floats(0.01, 1.0), last_day=st.floats(ZERO, ZERO + 360),
    last_km=st.floats(0, 20_000), anchor_day=st.just(ZERO), anchor_km=st.just(0.0), southern=st.booleans(),
    stretches=st.integers(0, 8),
)  # fmt: skip
LEFT = st.floats(1.0, 6000.0)


def rider(km_a_year: float = 2800.0) -> RateState:
    return RateState(np.log(km_a_year), 0.05, ZERO + 300, 2000.0, ZERO + 300, 2000.0, False, 4)


def many(seed: int, count: int) -> RateState:
    rng = np.random.default_rng(seed)
    last = ZERO + rng.uniform(0, 300, count)
    return RateState(
        rng.normal(7.6, 0.8, count), rng.uniform(0.02, 0.8, count), last, rng.uniform(0, 9000, count),
        last - rng.uniform(0, 9, count), np.zeros(count), rng.random(count) < 0.4, rng.integers(0, 7, count),
    )  # fmt: skip


def test_the_middle_date_is_when_the_riders_rate_gets_there():
    steady = replace(SHIPPED, months=FLAT_MONTHS)
    days = date_of(rider(3652.5), 2000.0 + 1000.0, (0.5,), HORIZON, steady)
    assert days == pytest.approx(ZERO + 300 + 100, abs=0.01)


def test_the_outer_dates_are_student_t_by_hand():
    # P 0.05 drifted by .15 a year, noise log(1 + .02 / e) + .03, t 1.533 (table, 4 degrees of freedom): solve for e by trial.
    steady = replace(SHIPPED, months=FLAT_MONTHS)
    day = float(date_of(rider(3652.5), 3000.0, (0.9,), HORIZON, steady)[0])
    years = (day - ZERO - 300) / 365.25
    scale2 = 0.05 + 0.15 * years + np.log1p(0.02 / years) + 0.03
    assert np.log(3652.5 * years) - 1.5332 * np.sqrt(scale2) == pytest.approx(np.log(1000.0), abs=1e-3)


def test_a_wintry_distance_takes_longer():
    summer = RateState(7.9, 0.05, 739_403.0, 0.0, 739_403.0, 0.0, False, 4)  # 1 June 2025
    winter = RateState(7.9, 0.05, 739_586.0, 0.0, 739_586.0, 0.0, False, 4)  # 1 December 2025
    from_summer = date_of(summer, 500.0, (0.5,), 740_500.0, SHIPPED)[0] - 739_403.0
    from_winter = date_of(winter, 500.0, (0.5,), 740_500.0, SHIPPED)[0] - 739_586.0
    assert from_winter > 2 * from_summer


def test_a_target_that_the_last_reading_shows_is_due_on_its_day():
    assert date_of(rider(), 1999.0, LEVELS, HORIZON, FLEET).tolist() == [ZERO + 300] * 3
    assert chance_by(rider(), ZERO + 301, 1999.0, FLEET) == 1.0


def test_beyond_the_horizon_there_is_no_date():
    assert date_of(rider(30.0), 5000.0, LEVELS, ZERO + 1000, FLEET).tolist() == [np.inf] * 3


def test_a_date_may_lie_in_the_past():
    assert date_of(rider(), 2010.0, (0.5,), HORIZON, FLEET)[0] < ZERO + 310


def test_nobody_rides_more_than_two_hundred_km_a_day():
    assert date_of(rider(3e6), 4000.0, (0.1,), HORIZON, FLEET)[0] >= ZERO + 310
    assert chance_by(rider(3e6), ZERO + 309, 4000.0, FLEET) == 0.0
    assert distance_on(rider(3e6), ZERO + 310, (0.9,), FLEET)[0] == 4000.0


def test_a_limit_without_end_has_no_date():
    assert date_of(rider(), np.inf, (0.5,), HORIZON, FLEET)[0] == np.inf


def test_a_horizon_nearer_than_the_fastest_ride_gives_no_date():
    assert date_of(rider(), 9000.0, (0.1,), ZERO + 301, FLEET)[0] == np.inf


@given(STATES, LEFT)
@settings(deadline=None)
def test_the_three_dates_come_in_order(state, left):
    low, middle, high = date_of(state, state.last_km + left, LEVELS, HORIZON, FLEET)
    assert state.last_day <= low <= middle <= high


@given(STATES, LEFT, st.floats(0, 900), st.floats(0.5, 200))
@settings(deadline=None)
def test_the_chance_never_falls_as_days_pass(state, left, ahead, more):
    """Short of its lower tail in the first days after a reading, where the spread shrinks faster than the distance grows: there
    F falls by .0054 a day at most (20,000 seeded riders), all below a chance of one in ten."""
    day = state.last_day + ahead
    before, after = chance_by(state, np.array([day, day + more]), state.last_km + left, FLEET)
    assert after >= before - 0.01 * more
    if before > 0.1:
        assert after >= before - 0.0004 * more


@given(STATES, LEFT, st.floats(0.05, 0.95))
@settings(deadline=None)
def test_the_chance_on_a_named_day_is_its_level(state, left, level):
    day = date_of(state, state.last_km + left, (level,), HORIZON, FLEET)[0]
    earliest = state.last_day + left / FLEET.most_a_day
    if earliest + 0.1 < day < np.inf:
        assert chance_by(state, day, state.last_km + left, FLEET) == pytest.approx(level, abs=0.02)


@given(STATES, LEFT)
@settings(deadline=None)
def test_in_miles_every_date_is_the_same(state, left):
    miles = replace(FLEET, mu=FLEET.mu - np.log(MILE), floor=FLEET.floor / MILE, most_a_day=FLEET.most_a_day / MILE)
    other = replace(state, m=state.m - np.log(MILE), last_km=state.last_km / MILE)
    in_km = date_of(state, state.last_km + left, LEVELS, HORIZON, FLEET)
    in_miles = date_of(other, (state.last_km + left) / MILE, LEVELS, HORIZON, miles)
    assert in_miles == pytest.approx(in_km, abs=0.02)


def test_readings_in_miles_give_the_same_rate():
    days, life = ZERO + np.array([0, 60, 150, 340.0]), np.array([0, 400, 1500, 2600.0])
    miles = replace(FLEET, mu=FLEET.mu - np.log(MILE), floor=FLEET.floor / MILE)
    in_km, in_miles = rate_of(days, life, fleet=FLEET), rate_of(days, life / MILE, fleet=miles)
    assert in_miles.m == pytest.approx(in_km.m - np.log(MILE), rel=1e-12)
    assert pytest.approx(in_km.P, rel=1e-12) == in_miles.P


@given(STATES, st.floats(300.0, 6000.0), st.floats(1.0, 400.0), st.floats(0.05, 0.45))
@settings(deadline=None, max_examples=100)
def test_a_reading_at_the_median_forecast_never_widens_the_range(state, left, gap, tail):
    """With the levels kept (they differ by how many stretches are known): the new range lies inside the old one.

    Holds for a reading short of the target and above the least distance of a stretch, for a rider no less known than a
    stranger: below that the filter counts it as ridden, or the range is nothing.
    """
    state = replace(state, P=min(state.P, SHIPPED.tau2), anchor_day=state.last_day, anchor_km=state.last_km)
    target = state.last_km + left
    read_on = state.last_day + gap
    median = distance_on(state, read_on, (0.5,), SHIPPED)[0]
    if not state.last_km + SHIPPED.floor < median < target:
        return
    told = fold(state, read_on, median, fleet=SHIPPED)
    levels = (tail, 1.0 - tail)
    before = date_of(state, target, levels, ZERO + 20_000, SHIPPED)
    after = date_of(told, target, levels, ZERO + 20_000, SHIPPED)
    fine = 0.2  # days: the steps of the bisection over so long a horizon
    assert before[0] - fine <= after[0]
    assert after[1] <= before[1] + fine


def test_n_machines_are_n_single_calls():
    states, targets = many(1, 40), many(1, 40).last_km + np.random.default_rng(2).uniform(-100, 4000, 40)
    together = date_of(states, targets, LEVELS, HORIZON, FLEET)
    on_a_day = distance_on(states, ZERO + 500, LEVELS, FLEET)
    chances = chance_by(states, ZERO + 500, targets, FLEET)
    for k in range(40):
        one = states.take(k)
        assert date_of(one, targets[k], LEVELS, HORIZON, FLEET) == pytest.approx(together[k], rel=1e-12)
        assert distance_on(one, ZERO + 500, LEVELS, FLEET) == pytest.approx(on_a_day[k], rel=1e-12)
        assert chance_by(one, ZERO + 500, targets[k], FLEET) == pytest.approx(chances[k], rel=1e-12)


def test_more_machines_than_a_portion_are_single_calls_too():
    states = many(4, 3)
    repeated = states.take(np.tile(np.arange(3), 6000))
    dates = date_of(repeated, repeated.last_km + 700.0, (0.5,), HORIZON, FLEET)
    assert dates[-3:, 0] == pytest.approx(
        date_of(states, states.last_km + 700.0, (0.5,), HORIZON, FLEET)[:, 0], rel=1e-12
    )


def test_the_order_of_machines_does_not_matter():
    states = many(5, 30)
    turned = np.random.default_rng(1).permutation(30)
    dates = date_of(states, states.last_km + 900.0, LEVELS, HORIZON, FLEET)
    other = date_of(states.take(turned), states.take(turned).last_km + 900.0, LEVELS, HORIZON, FLEET)
    assert other == pytest.approx(dates[turned], rel=1e-12)


def test_up_to_the_last_reading_the_distance_is_what_was_read():
    assert distance_on(rider(), np.array([ZERO, ZERO + 300]), LEVELS, FLEET).tolist() == [[2000.0] * 3] * 2


def test_the_lower_end_of_the_band_is_a_fact():
    band = distance_band(rider(), ZERO + np.array([300.0, 400.0]), FLEET)
    assert band[:, 0].tolist() == [2000.0, 2000.0]
    assert band[1, 0] < band[1, 1] < band[1, 2]


def test_the_distance_on_a_day_is_student_t_about_the_expected():
    exposure = season_clock(SHIPPED.months, ZERO + 400) - season_clock(SHIPPED.months, ZERO + 300)
    scale = np.sqrt(0.05 + SHIPPED.q * 100 / 365.25 + np.log1p(SHIPPED.s2 / exposure) + SHIPPED.s0)
    expected = 2000.0 + 2800.0 * exposure * np.exp(scale * t_quantile([0.1, 0.5, 0.9]))
    assert distance_on(rider(), ZERO + 400, LEVELS, SHIPPED) == pytest.approx(expected, rel=1e-9)


def test_without_a_reading_the_range_is_wide_and_sensible():
    low, middle, high = date_of(start_rate(738_887.0, fleet=SHIPPED), 1000.0, LEVELS, 739_900.0, SHIPPED) - 738_887.0
    # Delivered 1 January, 2,000 km a season-year: the prototype's table says 4 April, 6 July, 10 July a year on.
    assert (low, middle, high) == pytest.approx((93, 186, 555), rel=0.12)
