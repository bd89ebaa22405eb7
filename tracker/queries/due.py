"""The due list: what is stored compared with what the record says, read, and told in sentences."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet

from services import bulletin_due, intervals
from services.forecast_words import say_range, why
from services.intervals import Due, Limits, Point, Rebase, Rule
from services.kinds import task as task_of
from services.language import say
from services.riding import RiderRate
from tracker.models import DueLine, Fitment, Trike
from tracker.queries.due_reckoning import due_lines_of, rule_of

__all__ = [
    "describe", "differs", "due_lines_of", "due_list", "now_km", "range_words", "rebuild_differences", "rule_of",
    "status_of", "title_of", "trikes_sharing_parts", "why_of",
]  # fmt: skip

COMPARED = (
    "trike_id", "due_on", "likely_from", "likely_until", "early_on", "trigger", "due_life_km", "safety", "owner_can", "facts",
)  # fmt: skip


def rebuild_differences(trike_ids: Iterable[int] | None = None) -> list[tuple[str, int, str]]:
    """Return (what, component id, task) for every stored line that a rebuild would add, change or remove."""
    ids = list(Trike.objects.values_list("pk", flat=True)) if trike_ids is None else list(trike_ids)
    fresh = {(line["component_id"], line["task"]): line for line in due_lines_of(ids)}
    stored = {(row.component_id, row.task): row for row in DueLine.objects.filter(trike_id__in=ids)}
    differences = [("missing", *key) for key in fresh.keys() - stored.keys()]
    differences += [("left over", *key) for key in stored.keys() - fresh.keys()]
    differences += [("changed", *key) for key in fresh.keys() & stored.keys() if differs(stored[key], fresh[key])]
    return sorted(differences)


def differs(row: DueLine, values: dict[str, Any]) -> bool:
    """Whether a stored line says something else than freshly computed values."""
    return any(getattr(row, name) != values[name] for name in COMPARED)


def trikes_sharing_parts(trike_ids: Iterable[int]) -> set[int]:
    """Return these trikes and those that now carry a component which once ran on one of them."""
    ids = set(trike_ids)
    once_there = list(
        Fitment.objects.filter(trike_id__in=ids, removed_at__isnull=False).values_list("component_id", flat=True)
    )
    if not once_there:  # as most trikes: nothing of theirs ever moved
        return ids
    return ids | set(Fitment.objects.current().filter(component_id__in=once_there).values_list("trike_id", flat=True))


def due_list(*, with_owner_tasks: bool = False) -> QuerySet[DueLine]:
    """Return the due list with all a page or the API shows of a line, soonest first.

    What owners do themselves (air, tyre pressure, wash and lube) is left out unless asked for: it would bury the bench.
    """
    lines = DueLine.objects.filter(due_on__isnull=False, trike__state=Trike.State.DELIVERED)
    if not with_owner_tasks:
        lines = lines.filter(owner_can=False)
    return lines.select_related("trike", "component__part_type").order_by("due_on", "trike__frame_serial", "pk")


def describe(line: DueLine, today: date, unit: str = "km", measured: str | None = None) -> str:
    """Return why `line` is due, in one sentence with its numbers, for a reader of `unit`.

    `measured`: what was measured, in other words than the bench keeps.
    """
    facts = line.facts
    rule = _rule_from(facts["rule"])
    if "event" in facts:
        return say(
            "{title}: {event} on {date}. Due before the next ride.", title=say(rule.title), event=say(facts["event"]),
            date=intervals.say_date(date.fromisoformat(facts["event_on"])),
        )  # fmt: skip
    if "bulletin" in facts:
        due = Due(line.due_on, line.trigger or None, line.due_life_km)
        return bulletin_due.sentence(facts["bulletin"], due, today, now_km(facts, today), unit)
    return intervals.sentence(
        rule,
        last=_point_from(facts["last"]) if facts["last"] else None,
        limits=_limits_from(facts["limits"]),
        due=Due(line.due_on, line.trigger or None, line.due_life_km),
        now_km=now_km(facts, today),
        today=today,
        unit=unit,
        severity=facts["severity"],
        measured=facts["measured"] if measured is None else measured,
    )


BEYOND = timedelta(days=730)  # what lies further ahead is said as 'more than two years'


def range_words(line: DueLine, today: date) -> str:
    """Return the 80 % range of the due day in words; '' where the day is certain or known."""
    if line.due_on is not None and line.likely_from == line.likely_until == line.due_on:
        return ""
    last = today + BEYOND
    ends = (line.likely_from, line.due_on, line.likely_until)
    return say_range(*(day if day is not None and day <= last else None for day in ends), today)


def why_of(line: DueLine, unit: str = "km") -> str:
    """Return the numbers behind a forecast in a mechanic's words; '' for a line that rests on none."""
    target = line.facts.get("target_km")
    if target is None or line.trigger not in {"km", "hours", "date"}:
        return ""
    return why(RiderRate.from_dict(line.facts["rate"]), target, unit=unit, trigger=line.trigger)


def now_km(facts: dict[str, Any], today: date) -> float | None:
    """Return the component's life (km) on `today` as its rider and the season let expect; None where its past is unknown."""
    anchor = _point_from(facts["anchor"])
    if anchor.km is None:
        return None
    return anchor.km + RiderRate.from_dict(facts["rate"]).km_between(anchor.on, today)


def status_of(line: DueLine, today: date) -> str:
    """Return ok, soon, due or overdue: a comparison with `today`, never stored."""
    return intervals.status(line.due_on, line.early_on, today)


def title_of(task_code: str) -> str:
    """Return a task's title in the trade's words."""
    return task_of(task_code).title


def _rule_from(values: dict[str, Any]) -> Rule:
    return Rule(**{**values, "rebase": Rebase(values.get("rebase", "from_done"))})


def _point_from(values: dict[str, Any]) -> Point:
    return Point(date.fromisoformat(values["on"]), values.get("km"), values.get("hours"), values.get("cycles"))


def _limits_from(values: dict[str, Any]) -> Limits:
    on = values.get("on")
    return Limits(
        date.fromisoformat(on) if on else None,
        values.get("km"),
        values.get("hours"),
        values.get("cycles"),
        values["is_first"],
    )
