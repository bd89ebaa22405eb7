"""Whichever comes first over distance, hours, charge cycles and the calendar."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from services.first_limits import Clock, first_of_limits
from services.fleet_rates import SHIPPED, SHIPPED_HOURS
from services.forecast import LEVELS, chance_by, date_of
from services.intervals import Point, Rule, next_limits
from services.rates import RateState
from services.season import DAYS_A_YEAR, FLAT_MONTHS
from services.units import km_from_miles

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


# A rider known exactly: the quantiles are one, the date of plain arithmetic

SURE = replace(STEADY, tau2=0.0, q=0.0, s2=0.0, s0=0.0)
FOUR_YEARS = 4 * DAYS_A_YEAR
BISECTED = FOUR_YEARS / 2**17  # how near a bisection over that long comes, in days
LAST_OIL = Point(date(2024, 3, 15), 3200.0)
HUB_OIL = Rule(task="hub_oil", first_km=1000, every_km=5000, every_months=12)
STANDING = 1e-9  # a day: a log rate has no nought


def sure(trigger: str, limit: float, read_on: date, read: float, a_day: float) -> Clock:
    """A meter that showed `read` on a day and runs `a_day` every day."""
    day = float(read_on.toordinal())
    state = RateState(np.log(a_day * DAYS_A_YEAR), 0.0, day, read, day, read)
    return Clock(state, SURE, {trigger: limit})


def plain_first(*clocks: Clock, read_on: date, by: date | None = None) -> tuple[date | None, str]:
    """(the whole day, the trigger) that comes first, where nothing is in doubt."""
    calendar = np.nan if by is None else float(by.toordinal())
    first = first_of_limits(clocks, LEVELS, read_on.toordinal() + FOUR_YEARS, calendar)
    low, middle, high = (None if np.isinf(day) else date.fromordinal(int(day)) for day in first.days)
    assert low == middle == high
    return middle, first.names[int(first.trigger)] if first.trigger >= 0 else ""


def hub_oil(read: float = 6900.0, a_day: float = 12.0) -> tuple[date | None, str]:
    limits, read_on = next_limits(HUB_OIL, Point(date(2023, 1, 1), 0.0), [LAST_OIL]), date(2024, 11, 1)
    assert (limits.km, limits.on) == (8200, date(2025, 3, 15))
    return plain_first(sure("km", limits.km, read_on, read, a_day), read_on=read_on, by=limits.on)


def test_the_distance_comes_first_and_days_are_rounded_down():
    # hub instruction quoted by an owner (every 5,000 km or 12 months); by hand: 1,300 km at 12 km a day are 108.33 days
    assert hub_oil() == (date(2025, 2, 17), "km")


@pytest.mark.parametrize("a_day", [3.0, STANDING])
def test_the_calendar_comes_first_for_a_slow_rider_and_for_a_trike_that_stands(a_day):
    assert hub_oil(a_day=a_day) == (date(2025, 3, 15), "date")


def test_an_unknown_distance_drops_out():
    read_on = date(2024, 11, 1)
    clock = sure("km", np.nan, read_on, 6900.0, 12.0)
    assert plain_first(clock, read_on=read_on, by=date(2025, 3, 15)) == (date(2025, 3, 15), "date")


@pytest.mark.parametrize("a_day", [12.0, STANDING])
def test_a_limit_that_the_last_reading_passed_is_due_on_the_day_of_the_reading(a_day):
    assert hub_oil(read=8300.0, a_day=a_day) == (date(2024, 11, 1), "km")


@pytest.mark.parametrize(
    ("a_day", "expected"), [(10.0, (date(2025, 6, 10), "date")), (20.0, (date(2025, 2, 15), "km"))]
)
def test_after_the_break_in_the_interval_counts_from_it(a_day, expected):
    # hub instruction: first at 1,000 km, then every 5,000 km or 12 months; by hand: 5,000 km at 20 km a day are 250 days
    done = Point(date(2024, 6, 10), 980.0)
    limits = next_limits(HUB_OIL, Point(date(2024, 1, 1), 0.0), [done])
    clock = sure("km", limits.km, done.on, done.km, a_day)
    assert plain_first(clock, read_on=done.on, by=limits.on) == expected


@pytest.mark.parametrize(("a_day", "expected"), [(1.0, (date(1997, 6, 1), "hours")), (0.5, (date(1997, 6, 5), "date"))])
def test_of_a_dual_criterion_the_first_counts(a_day, expected):
    # TM 1-1500-328-23, printed: 14 days / 10 hours, done 22 May 1997 at 1709 h: due 5 June or 1719 h; by hand at a pace
    start = Point(date(1997, 5, 22), None, 1709.0)
    limits = next_limits(Rule(task="inspection", every_days=14, every_hours=10), start, [])
    clock = sure("hours", limits.hours, start.on, start.hours, a_day)
    assert plain_first(clock, read_on=start.on, by=limits.on) == expected


@pytest.mark.parametrize(
    ("hours_a_day", "cycles_a_day", "expected"),
    [(1.0, 2.0, (date(2024, 2, 20), "hours")), (0.1, 2.0, (date(2024, 4, 10), "cycles"))],
)
def test_hours_and_cycles_decide_when_they_come_first(hours_a_day, cycles_a_day, expected):
    # by hand: 50 hours left are 50 days, 200 cycles left are 100 days, 9,000 km are 900
    on = date(2024, 1, 1)
    clocks = [
        sure("km", 9000.0, on, 0.0, 10.0),
        sure("hours", 100.0, on, 50.0, hours_a_day),
        sure("cycles", 300.0, on, 100.0, cycles_a_day),
    ]
    assert plain_first(*clocks, read_on=on, by=date(2025, 1, 1)) == expected


@pytest.mark.parametrize(("limit", "read"), [(5000.0, 0.0), (5e8, 0.0), (5e8, 4e8)])
def test_a_limit_out_of_reach_is_never_due(limit, read):
    on = date(2024, 1, 1)
    assert plain_first(sure("km", limit, on, read, STANDING), read_on=on) == (None, "")


@given(
    left=st.floats(1, 50_000), pace=st.floats(0.1, 120), calendar=st.none() | st.integers(0, 900),
    into=st.sampled_from([float, km_from_miles]),
)  # fmt: skip
@settings(deadline=None)
def test_without_doubt_the_day_is_that_of_plain_arithmetic_in_kilometres_and_in_miles(left, pace, calendar, into):
    assume(abs(left / pace - FOUR_YEARS) > BISECTED)
    on = date(2024, 1, 1)
    clock = sure("km", float(into(1000.0 + left)), on, float(into(1000.0)), float(into(pace)))
    by = np.nan if calendar is None else float((on + timedelta(days=calendar)).toordinal())
    days = first_of_limits([clock], LEVELS, on.toordinal() + FOUR_YEARS, by).days - on.toordinal()
    ridden = left / pace if left / pace <= FOUR_YEARS else np.inf
    expected = min(ridden, np.inf if calendar is None else calendar)
    assert days == pytest.approx([expected] * 3, abs=BISECTED)
