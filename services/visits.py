"""Due tasks of one trike -> one visit, first cut: what falls due soon after the earliest task comes along.

The rule 'when he comes anyway, also do everything due within the look-ahead' costs about as little as any exact plan.
"""

from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

MONTHLY_DAYS = 30
OVERDUE_DAYS = 7
LATEST_LEVEL = 0.46  # a task is not put off past its middle date; a little before it, so that not more is late
SAFETY_LEVEL = 0.1  # and a safety task not past the date that nine in ten outlast


@dataclass(frozen=True)
class VisitTask:
    """One due task as the planner sees it. Money only weighs tasks against trips; any currency does."""

    key: Hashable
    due_on: date  # the likeliest day
    early_on: date
    safety: bool = False
    minutes: int = 0
    title: str = ""
    quantiles: tuple[date, ...] = ()  # of the due day, one per level; empty: the day is certain
    levels: tuple[float, ...] = ()  # rising, each in (0, 1)
    interval_days: float | None = None  # usual time from one doing to the next
    price: float | None = None  # of doing it once, parts and bench
    late_per_day: float | None = None  # what a day of lateness is worth avoiding
    not_before: date | None = None  # parts not in stock earlier


@dataclass(frozen=True)
class PlannedVisit:
    """The day proposed, what is done then (in the order it falls due), bench minutes, and why; a sentence per task."""

    on: date
    keys: tuple[Hashable, ...]
    minutes: int
    words: str
    reasons: tuple[str, ...] = ()


def latest_on(task: VisitTask) -> date:
    """Return the day after which the task is not put off: just before its middle date, a safety task's 10 % day."""
    if not task.quantiles:
        return task.due_on
    wanted, numbers = SAFETY_LEVEL if task.safety else LATEST_LEVEL, [day.toordinal() for day in task.quantiles]
    return date.fromordinal(int(np.interp(wanted, task.levels, numbers)))


def plan_visit(
    lines: Sequence[VisitTask], today: date, *, lead_days: int = 14, look_ahead_days: int = 60,
    closed_weekdays: Collection[int] = (5, 6),
) -> PlannedVisit | None:  # fmt: skip
    """Return the visit that the earliest task calls for, or None while nothing is inside its early window or lead.

    All tasks due within `look_ahead_days` of the visit come along. The day is never in the past, never closed, and not after
    the first safety task unless that is past already.
    """
    if not lines:
        return None
    ordered = sorted(lines, key=lambda line: (line.due_on, str(line.key)))
    calling = [line for line in ordered if min(line.early_on, line.due_on - timedelta(days=lead_days)) <= today]
    if not calling:
        return None
    first = calling[0]
    last_safe = min((line.due_on for line in ordered if line.safety), default=None)
    on = _open_day(max(first.due_on, today), today, closed_weekdays, last_safe)
    along = [line for line in ordered if line.due_on <= on + timedelta(days=look_ahead_days)]
    return PlannedVisit(
        on, tuple(line.key for line in along), sum(line.minutes for line in along), _words(first, along, on)
    )


def _open_day(day: date, today: date, closed: Collection[int], last_safe: date | None) -> date:
    """The nearest open day: earlier if that is not past, else later; never after a safety task that can still be kept."""
    if len(set(closed)) >= 7:
        return day
    if last_safe is not None and last_safe >= today:
        day = min(day, last_safe)
    earlier = day
    while earlier.weekday() in closed:
        earlier -= timedelta(days=1)
    if earlier >= today:
        return earlier
    while day.weekday() in closed:
        day += timedelta(days=1)
    return day


def _words(first: VisitTask, along: Sequence[VisitTask], on: date) -> str:
    why = f"{first.title or 'The first task'} falls due on {first.due_on.day} {first.due_on:%b %Y}"
    others = len(along) - 1
    if not others:
        return f"{why}."
    return f"{why}; {others} more that fall{'s' if others == 1 else ''} due soon after come{'s' if others == 1 else ''} along."


def stage(planned_on: date, today: date, lead_days: int = 14) -> str | None:
    """Return the stage of a visit's reminder: 'heads_up', 'due', 'overdue', then 'monthly-N'; None: too early to write."""
    late = (today - planned_on).days
    if late < -lead_days:
        return None
    if late < 0:
        return "heads_up"
    if late < OVERDUE_DAYS:
        return "due"
    months = (late - OVERDUE_DAYS) // MONTHLY_DAYS
    return "overdue" if months == 0 else f"monthly-{months}"
