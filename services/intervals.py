"""When a task falls due: first at, then every so many km / months / days / hours / cycles, whichever comes first.

Each trigger is computed on its own; a missing meter drops out, a missing date never does (dual criteria of inspection
practice, TM 1-1500-328-23 ch. 2). Re-basing policies as in that manual, in EASA FAQ 19102 and in 14 CFR 91.409(b).
Aviation and military rules are analogies here: none applies to a cycle workshop.
"""

import calendar
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from services.units import say_distance

SEVERITY_FLOOR = 0.25
WINDOW_SHARE = 0.10
WINDOW_CAP_DAYS = 30
WINDOW_CAP_KM = 250.0
DAYS_A_MONTH = 365.25 / 12
HORIZON_DAYS = 36_500.0
TRIGGERS = ("date", "km", "hours", "cycles")
_METER_WORDS = {"km": "The distance comes", "hours": "The hours come", "cycles": "The charge cycles come"}


class Rebase(StrEnum):
    """From which point the next interval counts."""

    FROM_DONE = "from_done"
    FROM_DUE = "from_due"
    WINDOW = "window"
    NEVER_LATER = "never_later"


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One interval. None: that trigger is not used."""

    task: str
    title: str = ""
    verb: str = "Last done"
    first_km: float | None = None
    first_days: int | None = None
    first_hours: float | None = None
    first_cycles: float | None = None
    every_km: float | None = None
    every_months: int | None = None
    every_days: int | None = None
    every_hours: float | None = None
    every_cycles: float | None = None
    early_km: float = 0.0
    early_days: int = 14
    rebase: Rebase = Rebase.FROM_DONE
    safety: bool = False
    severity_applies: bool = True
    once: bool = False

    @property
    def has_first(self) -> bool:
        """Whether a break-in comes before the recurring interval."""
        return any(v is not None for v in (self.first_km, self.first_days, self.first_hours, self.first_cycles))


@dataclass(frozen=True)
class Point:
    """A point in the life of a component: a date and what its meters showed then (None: no such meter, or unknown)."""

    on: date
    km: float | None
    hours: float | None = None
    cycles: float | None = None


@dataclass(frozen=True)
class Limits:
    """Where each trigger falls due; None where it does not apply. `is_first`: this is the break-in."""

    on: date | None
    km: float | None
    hours: float | None
    cycles: float | None
    is_first: bool = False


@dataclass(frozen=True)
class Rates:
    """How fast the meters run, per day; None where there is none."""

    km_per_day: float | None
    hours_per_day: float | None = None
    cycles_per_day: float | None = None


@dataclass(frozen=True)
class Due:
    """The date it falls due (None: not within a hundred years), what decided it, and the life in km at which it does."""

    on: date | None
    trigger: str | None
    km: float | None


def add_months(anchor: date, months: int) -> date:
    """Return the date `months` calendar months after `anchor`, the day clipped to the month's end."""
    index = anchor.year * 12 + anchor.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(anchor.day, calendar.monthrange(year, month + 1)[1]))


def rebase(policy: Rebase, due: float, done: float, interval: float, tolerance: float) -> float:
    """Return the next due point of one meter after it was done at `done` though due at `due`.

    What counts from due never falls at or before the work itself: a whole interval missed is skipped (FROM_DUE keeps its
    slot) or begins anew (NEVER_LATER). Own rule: the manuals do not say.
    """
    if policy is Rebase.FROM_DUE:
        return due + interval * max(1, math.floor((done - due) / interval) + 1)
    if policy is Rebase.NEVER_LATER:
        kept = min(due, done) + interval
        return kept if kept > done else done + interval
    if policy is Rebase.WINDOW and abs(done - due) <= tolerance:
        return due + interval
    return done + interval


def rebase_date(policy: Rebase, due: date, done: date, tolerance_days: int, *, months: int = 0, days: int = 0) -> date:
    """Return the next due date, counted in calendar months and days from the anchor the policy chooses."""
    steps, anchor = 1, done
    if policy is Rebase.FROM_DUE:
        anchor = due
        while add_months(due, steps * months) + timedelta(days=steps * days) <= done:
            steps += 1
    elif policy is Rebase.WINDOW and abs((done - due).days) <= tolerance_days:
        anchor = due
    elif policy is Rebase.NEVER_LATER and add_months(due, months) + timedelta(days=days) > done:
        anchor = min(due, done)
    return add_months(anchor, steps * months) + timedelta(days=steps * days)


def window_days(interval_days: float) -> int:
    """Return the tolerance of a calendar interval: a tenth, whole days, at most 30 (TM 1-1500-328-23)."""
    return min(int(interval_days * WINDOW_SHARE), WINDOW_CAP_DAYS)


def window_km(interval_km: float) -> float:
    """Return the tolerance of a distance interval: a tenth, at most 250 km (own rule)."""
    return min(interval_km * WINDOW_SHARE, WINDOW_CAP_KM)


def next_limits(rule: Rule, start: Point, dones: Sequence[Point], severity: float = 1.0) -> Limits | None:
    """Return where the task falls due next, given its start and every completion in order; None: never again.

    The break-in happens once; the recurring interval counts from the completion of the break-in. `severity` shortens
    distance, hours and cycles (floor a quarter), never the calendar.
    """
    rule = _scaled(rule, severity)
    limits = _first_limits(rule, start) if rule.has_first else _every_limits(rule, start)
    for done in dones:
        if rule.once:
            return None
        limits = _every_limits(rule, done) if limits.is_first else _rebased(rule, limits, done)
    return limits


def _scaled(rule: Rule, severity: float) -> Rule:
    factor = max(severity, SEVERITY_FLOOR) if rule.severity_applies else 1.0
    names = ("first_km", "first_hours", "first_cycles", "every_km", "every_hours", "every_cycles")
    return replace(rule, **{n: getattr(rule, n) * factor for n in names if getattr(rule, n) is not None})


def _plus(base: float | None, interval: float | None) -> float | None:
    return None if base is None or interval is None else base + interval


def _first_limits(rule: Rule, start: Point) -> Limits:
    on = None if rule.first_days is None else start.on + timedelta(days=rule.first_days)
    return Limits(
        on,
        _plus(start.km, rule.first_km),
        _plus(start.hours, rule.first_hours),
        _plus(start.cycles, rule.first_cycles),
        True,
    )


def _every_limits(rule: Rule, base: Point) -> Limits:
    on = None
    if rule.every_months is not None or rule.every_days is not None:
        on = add_months(base.on, rule.every_months or 0) + timedelta(days=rule.every_days or 0)
    return Limits(
        on, _plus(base.km, rule.every_km), _plus(base.hours, rule.every_hours), _plus(base.cycles, rule.every_cycles)
    )


def _rebased(rule: Rule, limits: Limits, done: Point) -> Limits:
    fresh = _every_limits(rule, done)
    on = fresh.on
    if on is not None and limits.on is not None:
        months, days = rule.every_months or 0, rule.every_days or 0
        on = rebase_date(
            rule.rebase, limits.on, done.on, window_days(months * DAYS_A_MONTH + days), months=months, days=days
        )
    return Limits(
        on,
        _rebased_meter(rule.rebase, limits.km, done.km, rule.every_km, window_km(rule.every_km or 0.0), fresh.km),
        _rebased_meter(
            rule.rebase, limits.hours, done.hours, rule.every_hours, WINDOW_SHARE * (rule.every_hours or 0), fresh.hours
        ),
        _rebased_meter(
            rule.rebase,
            limits.cycles,
            done.cycles,
            rule.every_cycles,
            WINDOW_SHARE * (rule.every_cycles or 0),
            fresh.cycles,
        ),
    )


def _rebased_meter(
    policy: Rebase, due: float | None, done: float | None, interval: float | None, tolerance: float, fresh: float | None
) -> float | None:
    if due is None or done is None or interval is None:
        return fresh
    return rebase(policy, due, done, interval, tolerance)


def days_to_limits(limits: np.ndarray, now: np.ndarray, rates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (days until the first limit, its column) for n tasks with k triggers each.

    limits, now, rates: (n, k) in the trigger's unit and unit a day; NaN where a trigger does not apply. A trigger at rate 0
    is never reached; one passed already has 0 days left. Days are capped at a hundred years.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.maximum(np.asarray(limits, float) - np.asarray(now, float), 0.0)
        days = np.where(left == 0.0, 0.0, left / np.asarray(rates, float))
    days = np.where(np.isnan(days), np.inf, days)
    first = np.argmin(days, axis=1)
    return np.minimum(days[np.arange(len(days)), first], HORIZON_DAYS), first


def first_to_come(limits: Limits, anchor: Point, rates: Rates, *, override_on: date | None = None) -> Due:
    """Return whichever comes first, reckoned from the last known meters (`anchor`), in whole days rounded down.

    Does not depend on today. `override_on`: a measurement on that date found it due, whatever the interval says.
    """
    if override_on is not None:
        return Due(override_on, "condition", None)
    nan = float("nan")
    row = np.array([[
        nan if limits.on is None else float((limits.on - anchor.on).days),
        _or_nan(limits.km), _or_nan(limits.hours), _or_nan(limits.cycles),
    ]])  # fmt: skip
    now = np.array([[0.0, _or_nan(anchor.km), _or_nan(anchor.hours), _or_nan(anchor.cycles)]])
    pace = np.array([[1.0, _or_nan(rates.km_per_day), _or_nan(rates.hours_per_day), _or_nan(rates.cycles_per_day)]])
    days, first = days_to_limits(row, now, pace)
    trigger = TRIGGERS[int(first[0])]
    if days[0] >= HORIZON_DAYS:
        return Due(None, None, None)
    if trigger == "date":
        return Due(limits.on, "date", limits.km)
    return Due(anchor.on + timedelta(days=int(days[0] + 1e-9)), trigger, limits.km)


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else float(value)


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


def say_date(day: date) -> str:
    """Return '14 Apr 2026'."""
    return f"{day.day} {day:%b %Y}"


def sentence(
    rule: Rule, *, last: Point | None, limits: Limits, due: Due, now_km: float | None, today: date, unit: str = "km",
    rate_words: str = "", severity: float = 1.0, measured: str = "",
) -> str:  # fmt: skip
    """Return why the task is due, with its numbers, for a reader of `unit`."""
    if due.trigger == "condition":
        return f"{rule.title}: measured {measured.rstrip('.')}. Due now." if measured else f"{rule.title}: due now."
    parts = [f"{rule.title}: {_interval_words(rule, limits, unit, severity)}.", _last_words(rule, last, now_km, unit)]
    parts.append(_due_words(rule, limits, due, today, unit))
    if rate_words and due.trigger != "date":
        parts.append(f"Reckoned with {rate_words}.")
    return " ".join(part for part in parts if part)


def _interval_words(rule: Rule, limits: Limits, unit: str, severity: float) -> str:
    factor = max(severity, SEVERITY_FLOOR) if rule.severity_applies else 1.0
    if limits.is_first:
        words = _join(
            _km_words(rule.first_km, unit, factor), _count(rule.first_days, "day"),
            _scaled_count(rule.first_hours, "hour", factor), _scaled_count(rule.first_cycles, "charge cycle", factor),
        )  # fmt: skip
        text = f"first at {words}"
    else:
        words = _join(
            _km_words(rule.every_km, unit, factor), _count(rule.every_months, "month"), _count(rule.every_days, "day"),
            _scaled_count(rule.every_hours, "hour", factor), _scaled_count(rule.every_cycles, "charge cycle", factor),
        )  # fmt: skip
        text = f"every {words}" if words else "when measuring says so"
    return text + (f" (shortened to {factor:.0%} for hard use)" if factor < 1 else "")


def _join(*words: str) -> str:
    return " or ".join(word for word in words if word)


def _km_words(km: float | None, unit: str, factor: float) -> str:
    return "" if km is None else say_distance(km * factor, unit)


def _count(number: float | None, word: str) -> str:
    return "" if number is None else f"{number:g} {word}{'' if number == 1 else 's'}"


def _scaled_count(number: float | None, word: str, factor: float) -> str:
    return "" if number is None else _count(round(number * factor, 1), word)


def _last_words(rule: Rule, last: Point | None, now_km: float | None, unit: str) -> str:
    now = f"now about {say_distance(now_km, unit)}" if now_km is not None else "its distance is not known"
    if last is None:
        return f"Not done yet, {now}."
    at = f" at {say_distance(last.km, unit)}" if last.km is not None else ""
    return f"{rule.verb} {say_date(last.on)}{at}, {now}."


def _due_words(rule: Rule, limits: Limits, due: Due, today: date, unit: str) -> str:
    if due.on is None:
        return "Not due as long as it is not ridden."
    when = f"due {say_date(due.on)}" if due.on >= today else f"was due {say_date(due.on)}"
    several = sum(limit is not None for limit in (limits.on, limits.km, limits.hours, limits.cycles)) > 1
    if not several:
        return f"{when[0].upper()}{when[1:]}."
    if due.trigger == "date":
        return f"{_time_words(rule, limits)} first: {when}."
    at = f" at {say_distance(limits.km, unit)}" if due.trigger == "km" and limits.km is not None else ""
    return f"{_METER_WORDS[due.trigger or 'km']} first: {when}{at}."


_SMALL = ("", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")


def _time_words(rule: Rule, limits: Limits) -> str:
    months = None if limits.is_first else rule.every_months
    if months and not rule.every_days:
        number = _SMALL[months] if months < len(_SMALL) else f"{months}"
        return f"{number} month{' comes' if months == 1 else 's come'}"
    days = (rule.first_days if limits.is_first else rule.every_days) or 0
    return f"{days} days come" if days else "The date comes"
