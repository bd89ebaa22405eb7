"""Why a task is due, told in one sentence with its numbers, for the desk and for owners."""

from datetime import date

from services.calendar_words import say_date
from services.interval_rules import Due, Limits, Point, Rule, severity_factor
from services.language import marked, say, say_many
from services.units import say_distance

__all__ = ["say_date", "sentence"]

_METER_WORDS = marked({
    "km": "The distance comes first", "hours": "The hours come first", "cycles": "The charge cycles come first",
})  # fmt: skip
_SMALL = marked(("", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve"))


def sentence(
    rule: Rule, *, last: Point | None, limits: Limits, due: Due, now_km: float | None, today: date, unit: str = "km",
    severity: float = 1.0, measured: str = "",
) -> str:  # fmt: skip
    """Return why the task is due, with its numbers, for a reader of `unit`."""
    title = say(rule.title)
    if due.trigger == "condition" and measured:
        return say("{title}: measured {measured}. Due now.", title=title, measured=measured.rstrip("."))
    if due.trigger == "condition":
        return say("{title}: due now.", title=title)
    parts = [f"{title}: {_interval_words(rule, limits, unit, severity)}.", _last_words(rule, last, now_km, unit)]
    parts.append(_due_words(rule, limits, due, today, unit))
    return " ".join(part for part in parts if part)


def _interval_words(rule: Rule, limits: Limits, unit: str, severity: float) -> str:
    factor = severity_factor(rule, severity)
    used = rule.opening if limits.is_first else rule
    words = _join(
        _km_words(used.every_km, unit, factor), _months(used.every_months), _days(used.every_days),
        _hours(used.every_hours, factor), _cycles(used.every_cycles, factor),
    )  # fmt: skip
    if not words:
        return say("when measuring says so")
    often = say("first at {interval}", interval=words) if limits.is_first else say("every {interval}", interval=words)
    if factor >= 1:
        return often
    return f"{often} {say('(distance shortened to {percent:.0f} % for hard use)', percent=factor * 100)}"


def _join(*words: str) -> str:
    told = [word for word in words if word]
    return say(" or ").join(told)


def _km_words(km: float | None, unit: str, factor: float) -> str:
    return say_distance(km * factor, unit) if km else ""


def _months(number: float | None) -> str:
    return say_many("{number:g} month", "{number:g} months", number) if number else ""


def _days(number: float | None) -> str:
    return say_many("{number:g} day", "{number:g} days", number) if number else ""


def _hours(number: float | None, factor: float) -> str:
    return say_many("{number:g} hour", "{number:g} hours", round(number * factor, 1)) if number else ""


def _cycles(number: float | None, factor: float) -> str:
    return say_many("{number:g} charge cycle", "{number:g} charge cycles", round(number * factor, 1)) if number else ""


def _last_words(rule: Rule, last: Point | None, now_km: float | None, unit: str) -> str:
    now = say("its distance is not known")
    if now_km is not None:
        now = say("now about {distance}", distance=say_distance(now_km, unit))
    if last is None:
        return say("Not done yet, {now}.", now=now)
    return say("{verb} {date}{at}, {now}.", verb=say(rule.verb), date=say_date(last.on), at=_at(last.km, unit), now=now)


def _at(km: float | None, unit: str) -> str:
    return say(" at {distance}", distance=say_distance(km, unit)) if km is not None else ""


def _due_words(rule: Rule, limits: Limits, due: Due, today: date, unit: str) -> str:
    set_limits = [limit for limit in (limits.on, limits.km, limits.hours, limits.cycles) if limit is not None]
    if due.on is None:
        return say("Not due as long as it is not ridden.") if set_limits else say("No limit can be reckoned.")
    when = say("due {date}", date=say_date(due.on)) if due.on >= today else say("was due {date}", date=say_date(due.on))
    at = _at(limits.km, unit) if due.trigger == "km" else ""
    if len(set_limits) < 2:
        return f"{when[0].upper()}{when[1:]}{at}."
    opening = rule.opening if limits.is_first else rule
    which = _time_words(opening) if due.trigger == "date" else say(_METER_WORDS[due.trigger or "km"])
    return f"{which}: {when}{at}."


def _time_words(rule: Rule) -> str:
    months, days = rule.every_months or 0, rule.every_days or 0
    if months and not days:
        count = say(_SMALL[months]) if months < len(_SMALL) else str(months)
        return say_many("{count} month comes first", "{count} months come first", months, count=count)
    if days and not months:
        return say_many("{number:g} day comes first", "{number:g} days come first", days)
    return say("The date comes first")
