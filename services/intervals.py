"""When a task falls due: first at, then every so many km / months / days / hours / cycles, whichever comes first.

Each trigger is computed on its own; a missing meter drops out, a missing date never does (dual criteria of inspection
practice, TM 1-1500-328-23 ch. 2). Nothing here depends on today except `status`, a mere comparison.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from services.due_words import say_date, sentence
from services.interval_rules import SEVERITY_FLOOR, Due, Limits, Point, Rates, Rule
from services.rebasing import (
    WINDOW_SHARE,
    Rebase,
    Slot,
    add_days,
    add_months,
    rebase,
    rebase_date,
    window_days,
    window_km,
)

__all__ = [
    "SEVERITY_FLOOR", "Due", "Limits", "Point", "Rates", "Rebase", "Rule", "add_days", "add_months", "covered_tasks",
    "days_to_limits", "early_from", "first_to_come", "next_limits", "rebase", "rebase_date", "say_date", "sentence",
    "status", "window_days", "window_km",
]  # fmt: skip

DAYS_A_MONTH = 365.25 / 12
HORIZON_DAYS = 36_500.0
TRIGGERS = ("date", "km", "hours", "cycles")


@dataclass(frozen=True)
class _Counted:
    """Where each trigger falls due, with the calendar slot that remembers its anchor."""

    slot: Slot | None
    km: float | None
    hours: float | None
    cycles: float | None

    def limits(self, is_first: bool) -> Limits:
        return Limits(self.slot.on if self.slot else None, self.km, self.hours, self.cycles, is_first)


def next_limits(rule: Rule, start: Point, dones: Sequence[Point], severity: float = 1.0) -> Limits | None:
    """Return where the task falls due next, given its start and every completion in order; None: never again.

    The break-in happens once; the recurring interval counts from the completion of the break-in. `severity` shortens
    distance, hours and cycles (floor a quarter), never the calendar.
    """
    rule = rule.shortened(severity)
    if not dones:
        return _counted_from(start, rule.opening).limits(rule.has_first)
    if rule.once:
        return None
    if rule.has_first:
        standing, later = _counted_from(dones[0], rule), dones[1:]
    else:
        standing, later = _counted_from(start, rule), dones
    for done in later:
        standing = _moved_on(rule, standing, done)
    return standing.limits(False)


def _counted_from(base: Point, rule: Rule) -> _Counted:
    months, days = rule.every_months or 0, rule.every_days or 0
    slot = Slot(base.on, months, days) if months or days else None
    return _Counted(
        slot, _plus(base.km, rule.every_km), _plus(base.hours, rule.every_hours), _plus(base.cycles, rule.every_cycles)
    )


def _plus(base: float | None, interval: float | None) -> float | None:
    return base + interval if base is not None and interval else None


def _moved_on(rule: Rule, standing: _Counted, done: Point) -> _Counted:
    fresh = _counted_from(done, rule)
    slot = fresh.slot
    if standing.slot is not None:
        tolerance = window_days((rule.every_months or 0) * DAYS_A_MONTH + (rule.every_days or 0))
        slot = standing.slot.after(rule.rebase, done.on, tolerance)

    def moved(name: str, tolerance: float) -> float | None:
        due, at, interval = getattr(standing, name), getattr(done, name), getattr(rule, f"every_{name}")
        if due is None or at is None or not interval:
            return getattr(fresh, name)
        return rebase(rule.rebase, due, at, interval, tolerance)

    return _Counted(
        slot, moved("km", window_km(rule.every_km or 0.0)), moved("hours", WINDOW_SHARE * (rule.every_hours or 0.0)),
        moved("cycles", WINDOW_SHARE * (rule.every_cycles or 0.0)),
    )  # fmt: skip


def days_to_limits(limits: np.ndarray, now: np.ndarray, rates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (days until the first limit, its column) for n tasks with k triggers each.

    limits, now, rates: (n, k) in the trigger's unit and unit a day; NaN where a trigger does not apply. Negative days: the
    limit was passed so long ago at that rate. A trigger at rate 0 is never reached, or, where it is passed, 0 days ago.
    Days lie within a hundred years either way.
    """
    left = np.asarray(limits, dtype=float) - np.asarray(now, dtype=float)
    pace = np.asarray(rates, dtype=float)
    moving = pace > 0
    days = np.full(left.shape, np.inf)
    np.divide(left, pace, out=days, where=moving & ~np.isnan(left))
    days[~moving & (left <= 0)] = 0.0
    first = np.argmin(days, axis=1)
    return np.clip(days[np.arange(len(days)), first], -HORIZON_DAYS, HORIZON_DAYS), first


def first_to_come(
    limits: Limits, anchor: Point, rates: Rates, *, override_on: date | None = None, not_before: date | None = None
) -> Due:
    """Return whichever comes first, reckoned from the last known meters (`anchor`), in whole days rounded down.

    Does not depend on today. A limit passed already is dated back at the rate, so that each further reading does not move
    the day it fell due; never before `not_before`, the day the interval began. `override_on`: a measurement on that date
    found it due, whatever the interval says.
    """
    if override_on is not None:
        return Due(override_on, "condition", None)
    calendar_days = None if limits.on is None else (limits.on - anchor.on).days
    row = _row(calendar_days, limits.km, limits.hours, limits.cycles)
    now = _row(0.0, anchor.km, anchor.hours, anchor.cycles)
    pace = _row(1.0, rates.km_per_day, rates.hours_per_day, rates.cycles_per_day)
    days, first = days_to_limits(row, now, pace)
    if days[0] >= HORIZON_DAYS:
        return Due(None, None, None)
    trigger = TRIGGERS[int(first[0])]
    if trigger == "date":
        return Due(limits.on, "date", limits.km)
    on = _moved(anchor.on, math.floor(days[0] + 1e-9))
    return Due(on if not_before is None else max(on, not_before), trigger, limits.km)


def _row(*values: float | None) -> np.ndarray:
    return np.array([[np.nan if value is None else float(value) for value in values]])


def _moved(day: date, days: int) -> date:
    return date.fromordinal(min(max(day.toordinal() + days, 1), date.max.toordinal()))


def early_from(due: Due, rule: Rule, rates: Rates) -> date | None:
    """Return the first day of the early window: early days before, or the days in which early km are ridden if fewer."""
    if due.on is None:
        return None
    early = float(rule.early_days)
    if due.trigger == "km" and rule.early_km and rates.km_per_day:
        early = min(early, rule.early_km / rates.km_per_day)
    return due.on - timedelta(days=int(early))


def status(due_on: date | None, early_on: date | None, today: date, late_days: int = 0) -> str:
    """Return 'ok', 'soon' (inside the early window), 'due' (today, or within the tolerance) or 'overdue'."""
    if due_on is None:
        return "ok"
    if today > due_on + timedelta(days=late_days):
        return "overdue"
    if today >= due_on:
        return "due"
    return "soon" if early_on is not None and today >= early_on else "ok"


def covered_tasks(done: Iterable[str], includes: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return each smaller task that the done ones include, however deep, with the done task it came by.

    A larger service covers the smaller, never the reverse (analogue: 14 CFR 91.409(b)). Done tasks themselves are not listed.
    """
    asked = list(dict.fromkeys(done))
    covered: dict[str, str] = {}
    for via in asked:
        waiting = list(includes.get(via, ()))
        while waiting:
            task = waiting.pop(0)
            if task not in covered and task not in asked:
                covered[task] = via
                waiting.extend(includes.get(task, ()))
    return covered
