"""The exact plan of visits, against trying every set of days. No values from outside: the oracle is enumeration."""

from datetime import date, timedelta
from itertools import combinations
from time import process_time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.bench_days import works_on
from services.visit_plan import (
    best_visits,
    due_atoms,
    falling_then_rising,
    gap_of,
    next_visit,
    plan_days,
    plan_visits,
    task_costs,
)
from services.visits import VisitTask, latest_on

TODAY = date(2026, 5, 4)  # a Monday
LEVELS = (0.1, 0.5, 0.9)


def every_set(days):
    """All non-empty sets of day numbers, as rows of booleans."""
    numbers = np.arange(1, 2**days)
    return (numbers[:, None] >> np.arange(days)) & 1 == 1


def by_trying_all(costs, price, between, after, leave):
    """The least cost over every set of days, by enumeration."""
    sets = every_set(costs.shape[1])
    serve = np.where(sets[:, None, :], costs, np.inf).min(axis=2)
    last = costs.shape[1] - 1 - sets[:, ::-1].argmax(axis=1)
    may_leave = costs.argmin(axis=1)[:, None] >= last[None, :]
    serve = np.minimum(serve, np.where(may_leave, leave[:, last], np.inf).T)
    total = serve.sum(axis=1) + (sets * price).sum(axis=1) + after[last]
    for first, second in combinations(range(costs.shape[1]), 2):
        neighbours = sets[:, first] & sets[:, second] & ~sets[:, first + 1 : second].any(axis=1)
        total += np.where(neighbours, between[first, second], 0.0)
    return total.min()


def cost_of(plan, costs, price, between, after, leave):
    """What a plan costs when its visits and its tasks are added up one by one."""
    total = sum(price[day] for day in plan.columns) + after[plan.columns[-1]]
    total += sum(between[first, second] for first, second in zip(plan.columns, plan.columns[1:], strict=False))
    for task, day in enumerate(plan.done_on):
        assert day == -1 or day in plan.columns
        total += leave[task, plan.columns[-1]] if day == -1 else costs[task, day]
    return total


def window(rng, tasks, days):
    begin = rng.integers(0, days, tasks)
    end = np.minimum(begin + rng.integers(0, days, tasks), days - 1)
    numbers = np.arange(days)
    return np.where((numbers >= begin[:, None]) & (numbers <= end[:, None]), 0.0, np.inf)


def tent(rng, tasks, days):
    top, up, down = rng.integers(0, days, tasks), rng.uniform(0.1, 3, tasks), rng.uniform(0.1, 3, tasks)
    away = np.arange(days) - top[:, None]
    return np.maximum(away, 0) * up[:, None] + np.maximum(-away, 0) * down[:, None]


def newsvendor(rng, tasks, days):
    levels = (0.5,) if rng.integers(2) else LEVELS
    quantiles = np.sort(rng.uniform(-2, days + 4, (tasks, len(levels))), axis=1)
    points, weights = due_atoms(quantiles, levels)
    costs = task_costs(np.arange(days), points, weights, rng.uniform(0.1, 2, tasks), rng.uniform(0.1, 4, tasks))
    return falling_then_rising(
        np.where(np.arange(days) > rng.integers(days // 2, 2 * days, tasks)[:, None], np.inf, costs)
    )


def steps(rng, tasks, days):
    return falling_then_rising(rng.integers(0, 6, (tasks, days)).astype(float))


@pytest.mark.parametrize("shape", [window, tent, newsvendor, steps])
def test_the_plan_costs_what_the_best_of_all_sets_of_days_costs(shape):
    for seed in range(500):
        rng = np.random.default_rng(seed)
        tasks, days = rng.integers(1, 6), rng.integers(3, 11)
        costs = shape(rng, tasks, days)
        price = rng.uniform(0, 6, days) if rng.integers(2) else np.full(days, 2.0)
        plain = bool(rng.integers(2))
        between = np.zeros((days, days)) if plain else rng.uniform(0, 2, (days, days))
        after = np.zeros(days) if plain else np.sort(rng.uniform(0, 5, days))[::-1]
        leave = np.full(costs.shape, np.inf) if plain else rng.choice([0.5, 2.0, np.inf], costs.shape)
        plan = best_visits(costs, price, between=between, after=after, leave=leave)
        assert plan.cost == pytest.approx(by_trying_all(costs, price, between, after, leave), abs=1e-9)
        assert plan.cost == pytest.approx(cost_of(plan, costs, price, between, after, leave), abs=1e-9)


def test_with_windows_that_cost_nothing_inside_the_visits_are_as_few_as_greedy_stabbing_needs():
    for seed in range(400):
        rng = np.random.default_rng(seed)
        days = 30
        begin = rng.integers(0, days, rng.integers(1, 10))
        end = np.minimum(begin + rng.integers(0, 12, len(begin)), days - 1)
        stabs, last = 0, -1
        for first, latest in sorted(zip(begin, end, strict=True), key=lambda pair: pair[1]):
            if first > last:
                stabs, last = stabs + 1, latest
        numbers = np.arange(days)
        inside = (numbers >= begin[:, None]) & (numbers <= end[:, None])
        assert len(best_visits(np.where(inside, 0.0, np.inf), np.ones(days)).columns) == stabs


def test_a_cost_with_two_valleys_is_refused():
    with pytest.raises(ValueError, match="fall up to its cheapest day"):
        best_visits([[1.0, 5.0, 1.0, 0.0]], np.ones(4))


def test_tasks_that_no_set_of_days_serves_are_refused():
    with pytest.raises(ValueError, match="no set of these days"):
        best_visits([[np.inf, np.inf]], np.ones(2))


@given(st.lists(st.lists(st.integers(0, 9), min_size=6, max_size=6), min_size=1, max_size=4))
def test_the_shaped_costs_fall_then_rise_and_never_lie_below_the_given_ones(rows):
    shaped = falling_then_rising(rows)
    for row, given_row in zip(shaped, np.array(rows), strict=True):
        best = given_row.argmin()
        assert (np.diff(row[: best + 1]) <= 0).all()
        assert (np.diff(row[best:]) >= 0).all()
        assert (row >= given_row).all()
        assert row[best] == given_row[best]


@given(
    st.lists(st.integers(-40, 400), min_size=3, max_size=3), st.floats(0.01, 3), st.floats(0.01, 3), st.integers(1, 180)
)
def test_expected_costs_are_convex_whatever_the_range(due, waste, late, days):
    costs = task_costs(np.arange(days), *due_atoms([sorted(due)], LEVELS), [waste], [late])[0]
    assert (np.diff(costs, n=2) >= -1e-9).all()


def test_three_quantiles_stand_for_three_four_and_three_tenths():
    points, weights = due_atoms([[10, 20, 40]], LEVELS)
    assert points.tolist() == [[10, 20, 40]]
    assert weights[0] == pytest.approx([0.3, 0.4, 0.3])


def test_a_certain_date_costs_waste_before_and_lateness_after_it():
    costs = task_costs([7, 10, 12], *due_atoms([[10]], [0.5]), [2.0], [5.0])
    assert costs.tolist() == [[6.0, 0.0, 10.0]]


@pytest.mark.parametrize(("quantiles", "levels"), [([[1, 2]], [0.5]), ([[1, 2]], [0.9, 0.1]), ([[2, 1]], [0.1, 0.9])])
def test_quantiles_that_do_not_fit_their_levels_are_refused(quantiles, levels):
    with pytest.raises(ValueError, match="levels must rise"):
        due_atoms(quantiles, levels)


def test_the_long_run_gap_balances_trips_and_lost_life():
    """sqrt(C / k) minimises C/T + k T, like the economic order quantity (Harris 1913, from memory)."""
    gap, price = gap_of(0.5, [0.1, 0.1], [1000.0, 1000.0])
    assert gap == pytest.approx(100.0)  # k: a quarter of the gap lost at each doing, 0.25 x 2 x 0.1 / 1000
    assert price == pytest.approx(0.01)
    for other in (90.0, 110.0):
        assert 0.5 / other + 5e-5 * other > price


def test_the_gap_is_never_longer_than_the_most_frequent_task_lets_it_be():
    assert gap_of(1e6, [0.1, 0.1], [100.0, 1000.0])[0] <= 100.0
    assert gap_of(60.0, [0.0], [100.0])[0] <= 100.0
    assert gap_of(0.0, [0.1], [100.0])[0] <= 100.0


# In dates


def task(key, days, *, spread=0, **more):
    due = TODAY + timedelta(days=days)
    wide = (
        {"quantiles": tuple(due + timedelta(days=n) for n in (-spread, 0, spread)), "levels": LEVELS} if spread else {}
    )
    return VisitTask(key, due, due, **{"minutes": 20, "interval_days": 300, "title": key.title(), **wide, **more})


def visits(*tasks, **options):
    return plan_visits(tasks, TODAY, **options)


def test_no_tasks_and_no_open_days_give_no_visits():
    assert visits() == []
    assert visits(task("oil", 5), closed_weekdays=range(7)) == []


def test_a_task_alone_is_done_on_the_last_open_day_before_it_falls_due():
    assert [visit.on for visit in visits(task("oil", 5))] == [date(2026, 5, 8)]  # due on a Saturday
    assert visits(task("oil", 4), closed_dates=[date(2026, 5, 8)])[0].on == date(2026, 5, 7)


def test_safety_work_that_falls_due_in_a_holiday_is_done_before_it_and_late_work_after_it():
    two_weeks = {TODAY + timedelta(days=n) for n in range(7, 21)}
    friday = TODAY + timedelta(days=4)
    assert visits(task("brakes", 14, safety=True), closed_dates=two_weeks)[0].on == friday
    begun = {TODAY + timedelta(days=n) for n in range(14)}
    assert visits(task("brakes", 3, safety=True), closed_dates=begun)[0].on == TODAY + timedelta(days=14)


def test_what_is_overdue_is_done_on_the_first_open_day():
    assert visits(task("oil", -30), closed_weekdays=(0, 6))[0].on == TODAY + timedelta(days=1)


def test_near_tasks_share_a_visit_and_far_ones_wait():
    plan = visits(task("chain", 11), task("oil", 23), task("motor", 170, price=400))
    assert plan[0].keys == ("chain", "oil")
    assert plan[0].minutes == 40
    assert plan[0].on == TODAY + timedelta(days=11)


def test_a_dear_part_is_not_thrown_away_for_a_cheap_trip():
    assert visits(task("chain", 11), task("motor", 100, price=3000), trip_price=20)[0].keys == ("chain",)


def test_what_falls_due_beyond_the_horizon_may_be_left():
    assert visits(task("oil", 400)) == []


def test_a_safety_task_is_done_by_the_date_that_nine_in_ten_outlast():
    assert visits(task("brakes", 30, spread=10, safety=True))[0].on <= TODAY + timedelta(days=20)


def test_a_pinned_appointment_is_used_rather_than_a_trip_of_its_own():
    pinned = TODAY + timedelta(days=6)  # a Sunday
    plan = visits(task("oil", 25), pinned=pinned)
    assert [visit.on for visit in plan] == [pinned]


def test_a_dear_day_is_avoided():
    busy = {TODAY + timedelta(days=4): 500.0}
    assert visits(task("oil", 4), day_prices=busy)[0].on == TODAY + timedelta(days=3)


def test_a_part_not_in_stock_waits_for_its_day_even_when_overdue():
    stock = TODAY + timedelta(days=8)
    assert visits(task("oil", -3, not_before=stock))[0].on == stock


def test_tasks_that_know_different_quantiles_are_planned_together():
    plan = visits(task("oil", 9), task("chain", 12, spread=4))
    assert plan[0].keys == ("oil", "chain")


def test_a_visit_is_proposed_when_it_is_near_or_may_be_early():
    assert next_visit([], TODAY) is None
    assert next_visit([task("oil", 25)], TODAY) is None
    assert next_visit([task("oil", 14)], TODAY).keys == ("oil",)
    due = TODAY + timedelta(days=25)
    assert next_visit([VisitTask("oil", due, TODAY, interval_days=300, minutes=20)], TODAY) is not None
    assert next_visit([task("oil", 25)], TODAY, lead_days=30, trip_price=10).keys == ("oil",)


many = st.lists(
    st.tuples(st.integers(-30, 250), st.booleans(), st.integers(0, 20), st.integers(60, 900)).map(
        lambda t: task(str(t), t[0], spread=t[2], safety=t[1], interval_days=t[3])
    ),
    max_size=7,
    unique_by=lambda made: made.key,
)


holidays = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 21)), max_size=3).map(
    lambda spans: {TODAY + timedelta(days=first + n) for first, days in spans for n in range(days)}
)


@settings(deadline=None)
@given(many, st.sets(st.integers(0, 6), max_size=5), holidays)
def test_visits_are_open_days_in_order_and_no_task_is_late_or_done_twice(lines, closed, away):
    plan = visits(*lines, closed_weekdays=closed, closed_dates=away)
    assert [visit.on for visit in plan] == sorted({visit.on for visit in plan})
    done = [key for visit in plan for key in visit.keys]
    assert len(done) == len(set(done))
    first_open = next(day for n in range(99) if works_on(day := TODAY + timedelta(days=n), closed, away))
    for visit in plan:
        assert works_on(visit.on, closed, away)
        assert visit.on >= TODAY
        assert len(visit.reasons) == len(visit.keys)
        for line in lines:
            if line.key in visit.keys:
                assert visit.on <= max(latest_on(line), first_open)


@settings(deadline=None)
@given(many, st.randoms())
def test_the_order_of_tasks_does_not_matter(lines, random):
    mixed = list(lines)
    random.shuffle(mixed)
    assert visits(*lines) == visits(*mixed)


def test_twelve_tasks_and_180_days_are_planned_in_five_milliseconds():
    rng = np.random.default_rng(1)
    due = np.sort(rng.uniform(5, 300, (12, 1)) * [[0.7, 1.0, 1.3]], axis=1)
    flat = np.ones(12)
    took = []
    for _ in range(20):
        begin = process_time()
        plan_days(
            np.arange(180), due, LEVELS, price=np.full(180, 60.0), trip_price=60.0, waste=flat * 0.15, late=flat * 0.5,
            intervals=flat * 300, latest=due[:, 1],
        )  # fmt: skip
        took.append(process_time() - begin)
    assert min(took) < 0.005
