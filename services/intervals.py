"""Where a task falls due: first at, then every so many km / months / days / hours / cycles.

Each trigger is computed on its own; a missing meter drops out, a missing date never does (dual criteria of inspection
practice, TM 1-1500-328-23 ch. 2). Whichever comes first: services/first_limits.py. Nothing here depends on today except
`status`, a mere comparison.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from services.due_words import say_date, sentence
from services.interval_rules import Due, Limits, Point, Rule
from services.rebasing import WINDOW_SHARE, Rebase, Slot, rebase, window_days, window_hours, window_km

__all__ = [
    "DAYS_A_MONTH", "Due", "Limits", "Point", "Rebase", "Rule", "covered_tasks", "early_from", "next_limits", "say_date",
    "sentence", "status",
]  # fmt: skip

DAYS_A_MONTH = 365.25 / 12


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
        slot, moved("km", window_km(rule.every_km or 0.0)), moved("hours", window_hours(rule.every_hours or 0.0)),
        moved("cycles", WINDOW_SHARE * (rule.every_cycles or 0.0)),
    )  # fmt: skip


def early_from(due: Due, rule: Rule, km_per_day: float | None) -> date | None:
    """Return the first day of the early window: early days before, or the days in which early km are ridden if fewer."""
    if due.on is None:
        return None
    early = float(rule.early_days)
    if due.trigger == "km" and rule.early_km and km_per_day:
        early = min(early, rule.early_km / km_per_day)
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
