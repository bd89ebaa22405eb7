"""The fleet's numbers, learned from its own stretches."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from services.fleet_fit import fit_fleet, past_levels, stretches_of
from services.fleet_rates import SHIPPED, SHIPPED_HOURS, FleetRates
from services.levels import IDENTITY
from services.season import FLAT_MONTHS, season_clock

ZERO = 738_900.0


def drawn(machines: int, seed: int = 1, fleet: FleetRates = SHIPPED):
    """Life points drawn from the model itself: log rates Student t about mu, a stretch every hundred days with noise s0."""
    rng = np.random.default_rng(seed)
    day = ZERO + 100.0 * np.arange(11)
    exposure = np.diff(season_clock(fleet.months, day))
    own = fleet.mu + math.sqrt(fleet.tau2) * rng.standard_t(4, (machines, 1))
    noise = math.sqrt(fleet.s0) * rng.standard_t(4, (machines, 10))
    life = np.cumsum(np.exp(own + noise) * exposure, axis=1)
    points = np.concatenate([np.zeros((machines, 1)), life], axis=1)
    return np.repeat(np.arange(machines), 11), np.tile(day, machines), points.ravel()


@pytest.fixture(scope="module")
def fitted():
    return fit_fleet(stretches_of(*drawn(400, fleet=replace(SHIPPED, mu=math.log(3500.0), tau2=0.3))))


def test_the_typical_year_is_found(fitted):
    assert math.exp(fitted.mu) == pytest.approx(3500.0, rel=0.08)


def test_the_spread_between_riders_is_found(fitted):
    assert fitted.tau2 == pytest.approx(0.3, rel=0.3)


def test_a_steady_fleet_hardly_drifts(fitted):
    assert fitted.q < SHIPPED.q / 2


def test_the_fit_says_how_many_machines_it_saw(fitted):
    assert fitted.machines == 400


def test_levels_are_refreshed_from_two_hundred_stretches_on(fitted):
    assert fitted.levels != IDENTITY
    assert fit_fleet(stretches_of(*drawn(19))).levels == IDENTITY


def test_three_machines_stay_near_the_shipped_numbers():
    few = fit_fleet(stretches_of(*drawn(3, fleet=replace(SHIPPED, mu=math.log(2500.0)))))
    assert abs(few.mu - SHIPPED.mu) < 0.7
    assert 0.2 < few.tau2 / SHIPPED.tau2 < 3
    assert 0.1 < few.q / SHIPPED.q < 5


def test_a_fleet_without_a_stretch_keeps_the_shipped_numbers():
    stretches = stretches_of(np.array([0, 1]), np.array([ZERO, ZERO]), np.zeros(2))
    assert fit_fleet(stretches) == SHIPPED
    assert past_levels(stretches, SHIPPED)[0].size == 0


def test_the_order_of_machines_does_not_matter():
    machine, day, km = drawn(30)
    turned = np.argsort(-machine, kind="stable")
    other = fit_fleet(stretches_of(29 - machine[turned], day[turned], km[turned]))
    one = fit_fleet(stretches_of(machine, day, km))
    assert other.mu == pytest.approx(one.mu, abs=1e-6)
    assert other.months == pytest.approx(one.months, rel=1e-9)


def test_stretches_shorter_than_ten_days_wait_for_the_next():
    machine = np.zeros(5, dtype=int)
    found = stretches_of(machine, ZERO + np.array([0, 4, 12, 20, 40.0]), np.array([0, 10, 30, 50, 100.0]))
    assert found.km.tolist() == [30.0, 70.0]
    assert (found.years * 365.25).round(6).tolist() == [12.0, 28.0]
    assert found.rank.tolist() == [0, 1]


def test_past_levels_tell_what_was_known_before_each_stretch():
    _, known, exposure = past_levels(stretches_of(*drawn(2)), replace(SHIPPED, months=FLAT_MONTHS))
    assert sorted(known.tolist()) == sorted([*range(10), *range(10)])
    assert exposure == pytest.approx(np.full(20, 100 / 365.25), rel=1e-9)


def test_a_model_that_fits_puts_half_of_its_past_below_its_middle(fitted):
    levels, _, _ = past_levels(stretches_of(*drawn(400, seed=5, fleet=fitted)), fitted)
    assert (levels < 0.5).mean() == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("fleet", [SHIPPED, SHIPPED_HOURS])
def test_the_numbers_go_through_json(fleet):
    assert FleetRates.from_dict(json.loads(json.dumps(fleet.as_dict()))) == fleet
