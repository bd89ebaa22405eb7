"""Whichever comes first over distance, hours, charge cycles and the calendar."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.first_limits import Clock, first_of_limits
from services.fleet_rates import SHIPPED, SHIPPED_HOURS
from services.forecast import LEVELS, chance_by, date_of
from services.rates import RateState
from services.season import FLAT_MONTHS

ZERO = 738_900.0
HORIZON = ZERO + 1000.0
STEADY = replace(SHIPPED, months=FLAT_MONTHS)


def rider(km_a_year: float = 3652.5, km: float = 2000.0, count: int | None = None) -> RateState:
    shape = () if count is None else (count,)
    return RateState(
        np.full(shape, np.log(km_a_year)), np.full(shape, 0.05), np.full(shape, ZERO), np.full(shape, km),
        np.full(shape, ZERO), np.full(shape, km), np.zeros(shape, dtype=bool), np.full(shape, 4),
    )  # fmt: skip


def km_clock(**targets: float) -> Clock:
    return Clock(rider(), STEADY, targets)


def test_one_limit_alone_is_the_day_of_its_distance():
    first = first_of_limits([km_clock(km=3000.0)], LEVELS, HORIZON)
    assert first.days == pytest.approx(date_of(rider(), 3000.0, LEVELS, HORIZON, STEADY), rel=1e-12)
    assert first.names[int(first.trigger)] == "km"


def test_the_calendar_is_certain_at_its_day():
    first = first_of_limits([km_clock(km=3000.0)], LEVELS, HORIZON, ZERO + 90)
    assert first.days[1:].tolist() == [ZERO + 90, ZERO + 90]
    assert first.days[0] < ZERO + 90
    assert first.names[int(first.trigger)] == "date"


def test_a_calendar_after_the_middle_cuts_only_the_upper_end():
    alone = date_of(rider(), 3000.0, LEVELS, HORIZON, STEADY)
    first = first_of_limits([km_clock(km=3000.0)], LEVELS, HORIZON, alone[1] + 1)
    assert first.days == pytest.approx([alone[0], alone[1], alone[1] + 1])
    assert first.names[int(first.trigger)] == "km"


def test_the_calendar_holds_beyond_the_horizon():
    first = first_of_limits([km_clock(km=90_000.0)], LEVELS, HORIZON, HORIZON + 50)
    assert first.days.tolist() == [HORIZON + 50] * 3


def test_without_any_limit_nothing_falls_due():
    first = first_of_limits([km_clock(km=np.nan)], LEVELS, HORIZON)
    assert first.days.tolist() == [np.inf] * 3
    assert first.trigger == -1


def test_without_a_clock_only_the_calendar_counts():
    assert first_of_limits([], LEVELS, HORIZON, ZERO + 5).days.tolist() == [ZERO + 5] * 3


def test_on_one_clock_the_smallest_equivalent_distance_decides():
    first = first_of_limits([km_clock(km=3000.0, hours=2600.0)], LEVELS, HORIZON)
    assert first.days == pytest.approx(date_of(rider(), 2600.0, LEVELS, HORIZON, STEADY), rel=1e-12)
    assert first.names[int(first.trigger)] == "hours"


def test_meters_of_their_own_are_still_one_riding():
    """At each level the sooner of the two: the min rule of the method's notes."""
    running = replace(SHIPPED_HOURS, months=FLAT_MONTHS)
    hours = Clock(rider(182.6, 100.0), running, {"hours": 140.0})
    first = first_of_limits([km_clock(km=3000.0), hours], LEVELS, HORIZON)
    each = [
        date_of(rider(), 3000.0, LEVELS, HORIZON, STEADY),
        date_of(rider(182.6, 100.0), 140.0, LEVELS, HORIZON, running),
    ]
    assert first.days == pytest.approx(np.minimum(*each), rel=1e-12)
    assert first.names[int(first.trigger)] == "hours"


def test_an_uncertain_conversion_widens_the_range():
    plain = first_of_limits([km_clock(hours=3000.0)], LEVELS, HORIZON).days
    unsure = first_of_limits([Clock(rider(), STEADY, {"hours": 3000.0}, {"hours": 0.3})], LEVELS, HORIZON).days
    assert unsure[0] < plain[0]
    assert unsure[2] > plain[2]
    assert unsure[1] == pytest.approx(plain[1], abs=3.0)


def test_a_mixture_gives_each_level_its_share():
    """The chance on the answered day, averaged over many draws of the factor (Monte Carlo), is the level."""
    unsure = first_of_limits([Clock(rider(), STEADY, {"hours": 3000.0}, {"hours": 0.3})], LEVELS, HORIZON).days
    left = 1000.0 * np.exp(0.3 * np.random.default_rng(1).standard_normal(20_000))
    for level, day in zip(LEVELS, unsure, strict=True):
        assert chance_by(rider(), day, 2000.0 + left, STEADY).mean() == pytest.approx(level, abs=0.01)


def test_a_conversion_without_doubt_is_the_plain_distance():
    count = 3
    targets = {"km": np.array([3000.0, np.nan, 1500.0]), "hours": np.array([np.nan, 2800.0, 2900.0])}
    clock = Clock(rider(count=count), STEADY, targets, {"hours": np.array([0.3, 1e-12, 0.3])})
    days = first_of_limits([clock], LEVELS, HORIZON).days
    assert days[0] == pytest.approx(date_of(rider(), 3000.0, LEVELS, HORIZON, STEADY), abs=1e-6)
    assert days[1] == pytest.approx(date_of(rider(), 2800.0, LEVELS, HORIZON, STEADY), abs=1e-6)
    assert days[2].tolist() == [ZERO] * 3  # passed at the last reading


def test_n_tasks_are_n_single_calls():
    rng = np.random.default_rng(4)
    count = 25
    state = replace(rider(count=count), m=rng.normal(7.8, 0.5, count))
    km, hours = (
        rng.uniform(1900, 6000, count),
        np.where(rng.random(count) < 0.5, np.nan, rng.uniform(1900, 6000, count)),
    )
    calendar = np.where(rng.random(count) < 0.3, np.nan, ZERO + rng.uniform(10, 900, count))
    spread = np.where(np.isnan(hours), 0.0, 0.2)
    clock = Clock(state, STEADY, {"km": km, "hours": hours}, {"hours": spread})
    together = first_of_limits([clock], LEVELS, HORIZON, calendar)
    for k in range(count):
        single = Clock(state.take(k), STEADY, {"km": km[k], "hours": hours[k]}, {"hours": spread[k]})
        one = first_of_limits([single], LEVELS, HORIZON, calendar[k])
        assert one.trigger == together.trigger[k]
        assert one.days == pytest.approx(together.days[k], abs=1e-6)


@given(st.floats(2001, 6000), st.floats(2001, 6000), st.floats(1, 900))
@settings(deadline=None, max_examples=50)
def test_another_limit_never_makes_it_later(km, hours, days):
    alone = first_of_limits([km_clock(km=km)], LEVELS, HORIZON).days
    more = first_of_limits([km_clock(km=km, hours=hours)], LEVELS, HORIZON, ZERO + days).days
    assert np.all(more <= alone)
    assert np.all(np.diff(more) >= 0)
