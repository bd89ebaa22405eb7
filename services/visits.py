"""What a visit is: tasks of one trike done on one day, and the stages of the reminder about it. The plan: visit_plan.py."""

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date

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
