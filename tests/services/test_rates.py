"""The filter on the log rate of riding."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.fleet_rates import SHIPPED
from services.rates import (
    RateState,
    absorb,
    change_of_owner,
    drifted,
    fold,
    new_rider_at,
    rate_of,
    rates_of,
    start_rate,
)
from services.season import DAYS_A_YEAR, season_clock

ZERO = 738_900.0
FIELDS = ("m", "P", "last_day", "last_km", "anchor_day", "anchor_km", "southern", "stretches")


def same(one: RateState, other: RateState) -> None:
    for name in FIELDS:
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-12), name


def fleet_points(seed: int, machines: int = 60):
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 30, machines)
    machine = np.repeat(np.arange(machines), counts)
    day = ZERO + rng.uniform(0, 1500, len(machine))
    order = np.lexsort((day, machine))
    km = rng.exponential(250.0, len(machine))
    first = np.append(True, machine[1:] != machine[:-1])
    km[first] = 0.0
    total = np.cumsum(km)
    return machine, day[order], total - np.repeat(total[first], counts), rng.random(machines) < 0.3


def test_single_states_stack_into_arrays_and_are_taken_out_again():
    singles = [rate_of([ZERO, ZERO + 90], [0, 500 + k], southern=k == 1, fleet=SHIPPED) for k in range(3)]
    singles.append(start_rate(ZERO, fleet=SHIPPED))
    together = RateState.stacked(singles)
    assert {np.shape(getattr(together, name)) for name in FIELDS} == {(4,)}
    for place, single in enumerate(singles):
        same(together.take(place), single)


def test_without_a_reading_the_rate_is_the_fleets():
    state = start_rate(ZERO, fleet=SHIPPED)
    assert (float(state.m), float(state.P), float(state.stretches)) == (SHIPPED.mu, SHIPPED.tau2, 0.0)


def test_one_stretch_is_absorbed_as_the_equations_say():
    # By hand: P is 0.5 and does not drift beyond tau2 0.5; e = 0.5, so that R = ln(1 + .02 / .5) + .03.
    m, P, residual, variance = absorb(SHIPPED.mu, 0.5, 1500.0, 0.5, 0.5, SHIPPED)
    noise = np.log(1.04) + 0.03
    expected_residual = np.log(3000.0 / 2000.0)
    surprise = (4 + expected_residual**2 / (0.5 + noise)) / 5
    gain = 0.5 / (0.5 + noise * surprise)
    assert residual == pytest.approx(expected_residual)
    assert variance == pytest.approx(0.5 + noise)
    assert m == pytest.approx(SHIPPED.mu + gain * expected_residual)
    assert pytest.approx(0.5 * (1 - gain) * surprise) == P


def test_the_rate_approaches_what_is_ridden():
    days = ZERO + 60.0 * np.arange(30)
    clock = season_clock(SHIPPED.months, days)
    state = rate_of(days, 4000.0 * (clock - clock[0]), fleet=SHIPPED)
    assert np.exp(state.m) == pytest.approx(4000.0, rel=0.02)


def test_an_odd_stretch_moves_the_rate_less_than_its_share():
    state = start_rate(ZERO, fleet=SHIPPED)
    for k in range(1, 6):
        state = fold(state, ZERO + 120 * k, 600.0 * k, fleet=SHIPPED)
    tour = fold(state, ZERO + 720, 3000.0 + 6000.0, fleet=SHIPPED)
    usual = fold(state, ZERO + 720, 3000.0 + 1200.0, fleet=SHIPPED)
    assert (tour.m - usual.m) < 0.25 * np.log(5.0)


def test_a_surprise_leaves_the_rate_less_known():
    state = start_rate(ZERO, fleet=SHIPPED)
    for k in range(1, 6):
        state = fold(state, ZERO + 120 * k, 600.0 * k, fleet=SHIPPED)
    parked = fold(state, ZERO + 720, 3000.0, fleet=SHIPPED)
    usual = fold(state, ZERO + 720, 3600.0, fleet=SHIPPED)
    assert parked.P > usual.P


def test_a_parked_trike_loses_its_rate():
    state = rate_of(ZERO + np.array([0, 200, 400, 600, 800.0]), [0, 2000, 2000, 2000, 2000], fleet=SHIPPED)
    assert np.exp(state.m) < 400.0


def test_old_knowledge_fades_no_further_than_a_strangers():
    assert drifted(0.1, 1.0, SHIPPED) == pytest.approx(0.1 + SHIPPED.q)
    assert drifted(0.1, 50.0, SHIPPED) == SHIPPED.tau2
    assert drifted(0.8, 50.0, SHIPPED) == 0.8


@pytest.mark.parametrize("gap", [0.0, 3.0, 9.99])
def test_a_short_stretch_moves_the_last_reading_and_not_the_rate(gap):
    state = fold(start_rate(ZERO, fleet=SHIPPED), ZERO + gap, 60.0, fleet=SHIPPED)
    assert (float(state.m), float(state.last_day), float(state.last_km)) == (SHIPPED.mu, ZERO + gap, 60.0)
    assert float(state.anchor_day) == ZERO


@given(st.floats(1.0, 9.0), st.floats(0.0, 300.0))
@settings(deadline=None)
def test_short_stretches_add_up_to_the_long_one(gap, km):
    apart = rate_of([ZERO, ZERO + gap, ZERO + 100], [0.0, km, 300.0], fleet=SHIPPED)
    whole = rate_of([ZERO, ZERO + 100], [0.0, 300.0], fleet=SHIPPED)
    same(apart, whole)


def test_a_fleet_at_once_equals_machines_one_by_one():
    machine, day, km, southern = fleet_points(1)
    states = rates_of(machine, day, km, southern=southern, fleet=SHIPPED)
    for k in range(60):
        mine = machine == k
        same(rate_of(day[mine], km[mine], southern=southern[k], fleet=SHIPPED), states.take(k))


def test_the_order_of_machines_does_not_matter():
    machine, day, km, _ = fleet_points(2)
    states = rates_of(machine, day, km, fleet=SHIPPED)
    turned = np.argsort(-machine, kind="stable")
    same(rates_of(59 - machine[turned], day[turned], km[turned], fleet=SHIPPED).take(slice(None, None, -1)), states)


def test_no_machines_have_no_states():
    none = np.empty(0)
    assert rates_of(none.astype(int), none, none, fleet=SHIPPED).m.shape == (0,)


@given(st.floats(0, 5000), st.floats(11, 700), st.floats(0.05, 3))
@settings(deadline=None)
def test_a_reading_just_as_expected_makes_the_rate_better_known(km, gap, own):
    """Beside no reading at all, on the same day."""
    state = RateState(SHIPPED.mu, own * SHIPPED.tau2, ZERO, km, ZERO, km, False, 3)
    exposure = season_clock(SHIPPED.months, ZERO + gap) - season_clock(SHIPPED.months, ZERO)
    with_it = fold(state, ZERO + gap, km + np.exp(SHIPPED.mu) * exposure, fleet=SHIPPED)
    without = drifted(state.P, gap / DAYS_A_YEAR, SHIPPED)
    assert float(with_it.P) <= float(without)


def test_a_new_rider_is_half_a_stranger():
    state = rate_of([ZERO, ZERO + 200], [0.0, 4000.0], fleet=SHIPPED)
    fresh = change_of_owner(state, SHIPPED)
    assert fresh.m == pytest.approx((state.m + SHIPPED.mu) / 2)
    assert (float(fresh.P), float(fresh.last_km), float(fresh.stretches)) == (SHIPPED.tau2, 4000.0, 0.0)


def test_a_state_goes_through_json():
    state = rate_of([ZERO, ZERO + 200], [0.0, 4000.0], southern=True, fleet=SHIPPED)
    stored = state.as_dict()
    assert stored["southern"] is True
    same(RateState(**stored), state)


def test_a_change_of_owner_falls_to_the_nearest_reading_and_never_to_the_first():
    machine = np.array([0, 0, 0, 1, 1, 1, 2])
    day = ZERO + np.array([0.0, 100, 300, 0, 100, 300, 0])
    at = new_rider_at(machine, day, [0, 0, 1, 2], [ZERO + 120, ZERO + 290, ZERO + 20, ZERO + 500])
    assert at.tolist() == [False, True, True, False, False, False, False]


def test_a_machine_that_passed_on_equals_the_same_steps_one_by_one_and_leaves_the_others_alone():
    machine = np.repeat([0, 1, 2], 4)
    day = np.tile(ZERO + np.array([0.0, 100, 200, 300]), 3)
    km = np.tile([0.0, 900, 1800, 1900], 3)
    fresh = new_rider_at(machine, day, [1], [ZERO + 190])
    states = rates_of(machine, day, km, fleet=SHIPPED, new_rider=fresh)
    alone = change_of_owner(rate_of(day[:3], km[:3], fleet=SHIPPED), SHIPPED)
    same(fold(alone, day[3], km[3], fleet=SHIPPED), states.take(1))
    for other in (0, 2):
        same(rate_of(day[:4], km[:4], fleet=SHIPPED), states.take(other))


def test_after_a_change_the_forecast_is_wider_and_narrows_with_the_new_riders_readings():
    day, km = ZERO + np.arange(5) * 100.0, np.arange(5) * 500.0
    machine = np.zeros(5, dtype=int)
    known = rates_of(machine, day, km, fleet=SHIPPED)
    passed = rates_of(machine, day, km, fleet=SHIPPED, new_rider=new_rider_at(machine, day, [0], [day[-1]]))
    learned = fold(passed.take(0), day[-1] + 100, 2100.0, fleet=SHIPPED)
    assert float(known.P[0]) < float(learned.P) < float(passed.P[0]) == SHIPPED.tau2
    assert float(learned.m) < float(known.m[0])
