"""Which days to ask a rider for, and what to do on each: an exact plan over the open days ahead.

If every task's cost falls up to its cheapest day and rises after it, the task is done at the last visit before that day
or at the first one after it. So the cost of a set of visits is a sum over neighbouring pairs, and the best set is a
shortest path. The objective is that of joint replenishment (Wildeman, Frenk and Dekker 1997) with one addition: tasks come
back, so a later last visit puts off the trips that follow, and each day of that is worth what visits cost in the long run.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from services.bench_days import works_on
from services.visit_words import reasons, words
from services.visits import PlannedVisit, VisitTask, latest_on

TRIP_PRICE = (
    60.0  # an owner's trip; price of a bench minute, a day late, an interval unless told: common practice, no source
)
MINUTE_PRICE = 1.0
LATE_PER_DAY = 0.5
INTERVAL_DAYS = 365.0
HORIZON_DAYS = 180

# The next five were chosen on development seeds of tests/scores/visits.py; the optimum is flat.
GAP_SHARE = 1.0  # of the shortest interval
LOST_SHARE = 0.25  # of a gap: the life a task loses at each visit, half of what blind sharing of visits would lose
LEAVE_FROM = 0.6  # of a gap after the last visit: what falls due later may wait for a visit that a later plan makes
PUT_OFF = 0.9  # share of the long-run price of a day that putting off the trips that follow by a day is worth
NARROWED = 0.1  # share of today's range that is left when a visit is booked, because plans are made anew each week


@dataclass(frozen=True)
class DayPlan:
    """Chosen columns in order; per task the column it is done on, -1 where it is left for later; the plan's cost."""

    columns: tuple[int, ...]
    done_on: np.ndarray
    cost: float


def due_atoms(quantiles, levels) -> tuple[np.ndarray, np.ndarray]:
    """Return the due day as points and weights (tasks x points): each quantile stands for the levels nearest to it.

    `quantiles`: tasks x k, rising; `levels`: k, rising in (0, 1). A single column is a certain date.
    """
    points = np.atleast_2d(np.asarray(quantiles, dtype=float))
    levels = np.asarray(levels, dtype=float)
    if points.shape[1] != len(levels) or (np.diff(levels) <= 0).any() or (np.diff(points, axis=1) < 0).any():
        raise ValueError("levels must rise, one per quantile, and quantiles must not fall")
    edges = np.concatenate([[0.0], (levels[1:] + levels[:-1]) / 2, [1.0]])
    return points, np.broadcast_to(np.diff(edges), points.shape)


def task_costs(days, points, weights, waste, late) -> np.ndarray:
    """Return tasks x days: expected price of life thrown away before the due day and of lateness after it.

    `waste`, `late`: money per day and task. Convex in the day, because each point of the due day adds a convex term.
    """
    early = points[:, :, None] - np.asarray(days, dtype=float)[None, None, :]
    before = np.einsum("jk,jkd->jd", weights, np.maximum(early, 0.0))
    after = np.einsum("jk,jkd->jd", weights, np.maximum(-early, 0.0))
    return np.asarray(waste)[:, None] * before + np.asarray(late)[:, None] * after


def falling_then_rising(costs) -> np.ndarray:
    """Return the least costs not below `costs` that fall up to each task's cheapest day and rise after it."""
    shaped = np.array(costs, dtype=float)
    for row, best in zip(shaped, shaped.argmin(axis=1), strict=True):
        row[best:] = np.maximum.accumulate(row[best:])
        row[: best + 1] = np.maximum.accumulate(row[best::-1])[::-1]
    return shaped


def best_visits(costs, price, *, between=None, after=None, leave=None) -> DayPlan:
    """Return the cheapest set of visit days, exactly. O(days^2 x tasks).

    `costs`: tasks x days, each row falling then rising, infinite where forbidden; `price`: of a visit, per day;
    `between`: days x days, extra price when the second follows the first; `after`: extra price per last visit's day;
    `leave`: tasks x days, price of leaving a task undone when that day is the last visit and not after the task's
    cheapest day. ValueError when a row rises and falls again, or when no set of days can serve every task.
    """
    costs = np.asarray(costs, dtype=float)
    tasks, days = costs.shape
    best = costs.argmin(axis=1)
    if not np.array_equal(falling_then_rising(costs), costs):
        raise ValueError("a task's cost must fall up to its cheapest day and rise after it")
    later = best[:, None] >= np.arange(days)  # the day is not after the task's cheapest day
    pair = np.zeros((days, days)) if between is None else np.array(between, dtype=float)
    for row, day in zip(costs, best, strict=True):
        pair[: day + 1, day + 1 :] += np.minimum(row[: day + 1, None], row[None, day + 1 :])
    ending = np.minimum(costs, np.inf if leave is None else leave)
    tail = np.where(later, ending, 0.0).sum(axis=0) + (0.0 if after is None else after)
    total = np.where(later, 0.0, costs).sum(axis=0) + price  # as if each day were the first visit
    before = np.full(days, -1)
    for day in range(1, days):
        via = total[:day] + pair[:day, day]
        cheapest = int(via.argmin())
        if via[cheapest] + price[day] < total[day]:
            total[day], before[day] = via[cheapest] + price[day], cheapest
    last = int((total + tail).argmin())
    cost = float(total[last] + tail[last])
    if not np.isfinite(cost):
        raise ValueError("no set of these days serves every task")
    columns = [last]
    while before[columns[-1]] >= 0:
        columns.append(int(before[columns[-1]]))
    columns.reverse()
    done_on = np.array(columns)[costs[:, columns].argmin(axis=1)] if tasks else np.zeros(0, dtype=int)
    left = later[:, last] & (ending[:, last] < costs[:, last])
    return DayPlan(tuple(columns), np.where(left, -1, done_on), cost)


def gap_of(trip_price: float, waste, intervals) -> tuple[float, float]:
    """Return (days from one visit to the next in the long run, price of such a day), doing each time what cannot wait.

    A task loses LOST_SHARE of a gap each time it is done, so a day costs trip/gap + gap x LOST_SHARE x sum of waste/interval.
    The gap is at most GAP_SHARE of the shortest interval, because that task calls for every visit.
    """
    lost = LOST_SHARE * float((np.asarray(waste) / np.asarray(intervals)).sum())
    longest = GAP_SHARE * float(np.min(intervals))
    gap = min(longest, (trip_price / lost) ** 0.5) if lost > 0 and trip_price > 0 else longest
    return gap, trip_price / gap + lost * gap


def plan_days(
    days, quantiles, levels, *, price, trip_price, waste, late, intervals, latest, not_before=None
) -> DayPlan:  # fmt: skip
    """Return the visits for tasks given by the quantiles of their due days.

    `days`: candidate days, rising; `quantiles`: tasks x levels, in the same days; `price`: of a visit on each candidate;
    `trip_price`: an ordinary one; `waste`, `late`: money per day and task; `intervals`: days; `latest`: day per task after
    which it is forbidden (moved to the first candidate when that has passed); `not_before`: likewise at the front.
    A task due beyond the candidates, or LEAVE_FROM of a gap after the last visit, may be left for a later plan: the
    former for nothing, the latter at the price of the days by which it brings the next visit forward.
    """
    days = np.asarray(days, dtype=float)
    points, weights = due_atoms(quantiles, levels)
    mean = (weights * points).sum(axis=1, keepdims=True)
    points = mean + NARROWED * (points - mean)
    earliest = np.full(len(points), -np.inf) if not_before is None else np.asarray(not_before, dtype=float)
    latest = np.maximum(np.maximum(latest, earliest), days[0])
    costs = task_costs(days, points, weights, waste, late)
    least = _least_costs(points, weights, waste, late, latest)
    gap, day_price = gap_of(trip_price, waste, intervals)
    rate = PUT_OFF * day_price
    # the first open day that is not after a task's latest one may not exist: then the next open day serves
    reach = days[np.minimum(np.searchsorted(days, np.maximum(earliest, days[0])), len(days) - 1)]
    forbidden = (days > np.maximum(latest, reach)[:, None]) | (days < earliest[:, None])
    costs = np.where(forbidden, np.inf, costs)
    beyond = latest[:, None] > days[-1]
    forward = np.where(
        beyond, 0.0, np.maximum(days + gap - mean, 0.0)
    )  # days by which it calls for the next visit sooner
    leave = np.where(beyond | (mean >= days + LEAVE_FROM * gap), least[:, None] + rate * forward, np.inf)
    between = rate * np.maximum(days[None, :] - days[:, None] - gap, 0.0)
    return best_visits(costs, price, between=between, after=rate * (days[-1] - days), leave=leave)


def _least_costs(points, weights, waste, late, latest) -> np.ndarray:
    """Each task's cost on the best day of all, inside the candidates or beyond: a convex sum bends only at its points."""
    at = np.minimum(points, latest[:, None])
    early = points[:, None, :] - at[:, :, None]
    before = (weights[:, None, :] * np.maximum(early, 0.0)).sum(axis=2)
    after = (weights[:, None, :] * np.maximum(-early, 0.0)).sum(axis=2)
    return (np.asarray(waste)[:, None] * before + np.asarray(late)[:, None] * after).min(axis=1)


def plan_visits(
    tasks: Sequence[VisitTask], today: date, *, trip_price: float = TRIP_PRICE, horizon_days: int = HORIZON_DAYS,
    closed_weekdays: Collection[int] = (5, 6), closed_dates: Collection[date] = (), pinned: date | None = None,
    day_prices: Mapping[date, float] | None = None,
) -> list[PlannedVisit]:  # fmt: skip
    """Return the cheapest visits from `today` to the horizon, soonest first; each task at one visit, or left for later.

    `pinned`: an appointment that stands, open and without price; `day_prices`: trip price of single days (busy days).
    No visit is later than the 10 % date of a safety task, or the middle date of another, unless that is past or closed.
    """
    days = open_days(today, horizon_days, closed_weekdays, closed_dates, pinned)
    if not tasks or not days:
        return []
    ordered = sorted(tasks, key=lambda task: (task.due_on, str(task.key)))
    numbers = np.array([(day - today).days for day in days], dtype=float)
    prices = {**(day_prices or {}), **({pinned: 0.0} if pinned else {})}
    quantiles, levels = _due_table(ordered, today)
    intervals = np.array([task.interval_days or INTERVAL_DAYS for task in ordered])
    plan = plan_days(
        numbers, quantiles, levels, price=np.array([prices.get(day, trip_price) for day in days]), trip_price=trip_price,
        waste=np.array([_price(task) for task in ordered]) / intervals,
        late=np.array([LATE_PER_DAY if task.late_per_day is None else task.late_per_day for task in ordered]),
        intervals=intervals,
        latest=np.array([(latest_on(task) - today).days for task in ordered]),
        not_before=[(task.not_before - today).days if task.not_before else -np.inf for task in ordered],
    )  # fmt: skip
    return [
        _visit([task for task, at in zip(ordered, plan.done_on, strict=True) if at == column], days[column])
        for column in plan.columns
        if (plan.done_on == column).any()
    ]


def next_visit(tasks: Sequence[VisitTask], today: date, *, lead_days: int = 14, **options) -> PlannedVisit | None:
    """Return the first planned visit once it is near, or one of its tasks may be done early; else None.

    It is near `lead_days` ahead. `options` are those of `plan_visits`.
    """
    first = next(iter(plan_visits(tasks, today, **options)), None)
    if first is None:
        return None
    early = min(task.early_on for task in tasks if task.key in first.keys)
    return first if min(early, first.on - timedelta(days=lead_days)) <= today else None


def open_days(
    today: date, horizon_days: int, closed_weekdays: Collection[int], closed_dates: Collection[date], pinned: date | None
) -> list[date]:  # fmt: skip
    """Return the days a visit may be on: today at the earliest; a pinned day is open whatever the calendar says."""
    ahead = (today + timedelta(days=number) for number in range(horizon_days))
    return [day for day in ahead if day == pinned or works_on(day, closed_weekdays, closed_dates)]


def _price(task: VisitTask) -> float:
    return task.minutes * MINUTE_PRICE if task.price is None else task.price


def _due_table(tasks: Sequence[VisitTask], today: date) -> tuple[np.ndarray, np.ndarray]:
    """All tasks' quantiles in days from today, at the levels of the task that knows most of them."""
    levels = max((task.levels for task in tasks), key=len) or (0.5,)
    rows = []
    for task in tasks:
        known = [(day - today).days for day in task.quantiles or (task.due_on,)]
        rows.append(np.interp(levels, task.levels or (0.5,), np.maximum.accumulate(known)))
    return np.array(rows, dtype=float), np.array(levels)


def _visit(tasks: Sequence[VisitTask], on: date) -> PlannedVisit:
    """The visit in words and numbers; the tasks come in the order they fall due."""
    minutes = sum(task.minutes for task in tasks)
    return PlannedVisit(on, tuple(task.key for task in tasks), minutes, words(tasks, on), reasons(tasks, on))
