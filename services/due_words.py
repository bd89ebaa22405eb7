"""Why a task is due, told in one sentence with its numbers, for the desk and for owners."""

from datetime import date

from services.interval_rules import Due, Limits, Point, Rule, severity_factor
from services.units import say_distance

_METER_WORDS = {"km": "The distance comes", "hours": "The hours come", "cycles": "The charge cycles come"}


def say_date(day: date) -> str:
    """Return '14 Apr 2026'."""
    return f"{day.day} {day:%b %Y}"


def sentence(
    rule: Rule, *, last: Point | None, limits: Limits, due: Due, now_km: float | None, today: date, unit: str = "km",
    severity: float = 1.0, measured: str = "",
) -> str:  # fmt: skip
    """Return why the task is due, with its numbers, for a reader of `unit`."""
    if due.trigger == "condition":
        return f"{rule.title}: measured {measured.rstrip('.')}. Due now." if measured else f"{rule.title}: due now."
    parts = [f"{rule.title}: {_interval_words(rule, limits, unit, severity)}.", _last_words(rule, last, now_km, unit)]
    parts.append(_due_words(rule, limits, due, today, unit))
    return " ".join(part for part in parts if part)


def _interval_words(rule: Rule, limits: Limits, unit: str, severity: float) -> str:
    factor = severity_factor(rule, severity)
    used = rule.opening if limits.is_first else rule
    words = _join(
        _km_words(used.every_km, unit, factor), _count(used.every_months, "month"), _count(used.every_days, "day"),
        _scaled_count(used.every_hours, "hour", factor), _scaled_count(used.every_cycles, "charge cycle", factor),
    )  # fmt: skip
    if not words:
        return "when measuring says so"
    shorter = f" (distance shortened to {factor:.0%} for hard use)" if factor < 1 else ""
    return f"{'first at' if limits.is_first else 'every'} {words}{shorter}"


def _join(*words: str) -> str:
    return " or ".join(word for word in words if word)


def _km_words(km: float | None, unit: str, factor: float) -> str:
    return say_distance(km * factor, unit) if km else ""


def _count(number: float | None, word: str) -> str:
    return f"{number:g} {word}{'' if number == 1 else 's'}" if number else ""


def _scaled_count(number: float | None, word: str, factor: float) -> str:
    return _count(round(number * factor, 1), word) if number else ""


def _last_words(rule: Rule, last: Point | None, now_km: float | None, unit: str) -> str:
    now = f"now about {say_distance(now_km, unit)}" if now_km is not None else "its distance is not known"
    if last is None:
        return f"Not done yet, {now}."
    at = f" at {say_distance(last.km, unit)}" if last.km is not None else ""
    return f"{rule.verb} {say_date(last.on)}{at}, {now}."


def _due_words(rule: Rule, limits: Limits, due: Due, today: date, unit: str) -> str:
    set_limits = [limit for limit in (limits.on, limits.km, limits.hours, limits.cycles) if limit is not None]
    if due.on is None:
        return "Not due as long as it is not ridden." if set_limits else "No limit can be reckoned."
    when = f"due {say_date(due.on)}" if due.on >= today else f"was due {say_date(due.on)}"
    at = f" at {say_distance(limits.km, unit)}" if due.trigger == "km" and limits.km is not None else ""
    if len(set_limits) < 2:
        return f"{when[0].upper()}{when[1:]}{at}."
    which = (
        _time_words(rule.opening if limits.is_first else rule)
        if due.trigger == "date"
        else _METER_WORDS[due.trigger or "km"]
    )
    return f"{which} first: {when}{at}."


_SMALL = ("", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")


def _time_words(rule: Rule) -> str:
    months, days = rule.every_months or 0, rule.every_days or 0
    if months and not days:
        number = _SMALL[months] if months < len(_SMALL) else f"{months}"
        return f"{number} month{' comes' if months == 1 else 's come'}"
    return f"{days} day{' comes' if days == 1 else 's come'}" if days and not months else "The date comes"
