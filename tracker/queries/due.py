"""The due list: computed afresh from the record (this is its only source), compared with what is stored, and told."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from services import intervals
from services.intervals import Due, Limits, Point, Rates, Rebase, Rule
from services.kinds import task as task_of
from services.kinds import tasks_for
from services.life import derived_hours
from services.odometer import build_timeline
from services.riding import plain_rate
from tracker.models import Completion, DueLine, Fitment, Measurement, Occurrence, ServiceInterval, Trike
from tracker.queries.clock import date_of_day, day_of, local_date
from tracker.queries.life import ComponentRun, TrikeClock, clocks_of, meters_of, runs_of

URGENT = ("replace", "stop")
CHECK_AFTER = {
    Occurrence.Kind.CRASH: "after_crash",
    Occurrence.Kind.SUBMERSION: "after_submersion",
    Occurrence.Kind.LAY_UP: "after_lay_up",
}
METER_NAMES = {"hours": "motor_hours", "cycles": "charge_cycles"}
COMPARED = ("trike_id", "due_on", "early_on", "trigger", "due_life_km", "safety", "owner_can", "facts")


@dataclass(frozen=True)
class Ground:
    """Everything the due lines of some trikes rest on, fetched in a fixed number of queries."""

    fitments: list[Fitment]
    clocks: dict[int, TrikeClock]
    runs: dict[int, ComponentRun]
    intervals: dict[tuple[str, str, int | None], ServiceInterval]
    completions: dict[tuple[int, str], list[float]]
    alarms: dict[tuple[int, str], tuple[date, str]]
    occurrences: dict[int, list[Occurrence]]
    meters: dict[tuple[int, str], list[tuple[float, float]]]


def ground_of(trike_ids: Iterable[int]) -> Ground:
    """Fetch the ground for these trikes."""
    ids = set(trike_ids)
    fitments = list(
        Fitment.objects.current()
        .filter(trike_id__in=ids)
        .exclude(trike__state=Trike.State.RETIRED)
        .select_related("component__part_type", "trike")
        .order_by("trike_id", "position", "pk")
    )
    parts = {f.component_id for f in fitments}
    clocks = clocks_of(ids)
    completions: dict[tuple[int, str], list[float]] = defaultdict(list)
    for pk, task, done_at in (
        Completion.objects.filter(component_id__in=parts)
        .order_by("component_id", "task", "done_at", "pk")
        .values_list("component_id", "task", "done_at")
    ):
        completions[pk, task].append(day_of(done_at))
    occurrences: dict[int, list[Occurrence]] = defaultdict(list)
    for row in Occurrence.objects.filter(trike_id__in=ids).order_by("trike_id", "happened_at", "pk"):
        occurrences[row.trike_id].append(row)
    return Ground(
        fitments,
        clocks,
        runs_of(parts, clocks),
        _intervals(),
        completions,
        _alarms(parts),
        occurrences,
        meters_of(parts),
    )


def _intervals() -> dict[tuple[str, str, int | None], ServiceInterval]:
    return {(row.task, row.part_kind, row.part_type_id): row for row in ServiceInterval.objects.all()}


def _alarms(parts: set[int]) -> dict[tuple[int, str], tuple[date, str]]:
    """The last measurement of each component and quantity, where it says replace or stop."""
    last: dict[tuple[int, str], tuple[date, str, str]] = {}
    for pk, quantity, taken_at, level, words in (
        Measurement.objects.filter(component_id__in=parts, card__state="signed")
        .order_by("taken_at", "pk")
        .values_list("component_id", "quantity", "taken_at", "level", "words")
    ):
        last[pk, quantity] = (local_date(taken_at), level, words)
    return {key: (day, words) for key, (day, level, words) in last.items() if level in URGENT}


def due_lines_of(trike_ids: Iterable[int]) -> list[dict[str, Any]]:
    """Return the due lines of these trikes as DueLine field values, computed from the record. Independent of today."""
    ground = ground_of(trike_ids)
    lines = []
    for fitment in ground.fitments:
        for task in tasks_for(fitment.component.part_type.kind):
            line = _line(ground, fitment, task)
            if line is not None:
                lines.append(line)
    return lines


def _line(ground: Ground, fitment: Fitment, task) -> dict[str, Any] | None:
    if task.code in CHECK_AFTER.values():
        return _event_line(ground, fitment, task)
    component = fitment.component
    kind = component.part_type.kind
    interval = ground.intervals.get((task.code, kind, component.part_type_id)) or ground.intervals.get(
        (task.code, kind, None)
    )
    alarm = next((ground.alarms[component.pk, q] for q in task.asks if (component.pk, q) in ground.alarms), None)
    if interval is None and alarm is None:
        return None
    rule = rule_of(interval, task) if interval else Rule(task=task.code, title=task.title, safety=task.safety)
    return _computed(ground, fitment, task, rule, alarm)


def rule_of(interval: ServiceInterval, task) -> Rule:
    """Return the interval as services/ takes it."""
    return Rule(
        task=task.code, title=task.title, verb=task.verb, safety=task.safety,
        first_km=interval.first_km, first_days=interval.first_days, first_hours=interval.first_hours,
        first_cycles=interval.first_cycles, every_km=interval.every_km, every_months=interval.every_months,
        every_days=interval.every_days, every_hours=interval.every_hours, every_cycles=interval.every_cycles,
        early_km=interval.early_km, early_days=interval.early_days, rebase=Rebase(interval.rebase), once=interval.once,
    )  # fmt: skip


def _computed(
    ground: Ground, fitment: Fitment, task, rule: Rule, alarm: tuple[date, str] | None
) -> dict[str, Any] | None:
    run = ground.runs[fitment.component_id]
    clock = ground.clocks[fitment.trike_id]
    begun = run.first_day or day_of(fitment.fitted_at)
    done_days = ground.completions.get((fitment.component_id, task.code), [])
    anchor_day = max(clock.timeline.last_day, day_of(fitment.fitted_at), clock.zero_day)
    points, rates = _points(ground, run, clock, [begun, *done_days, anchor_day])
    start, *dones, anchor = points
    severity = fitment.trike.severity if rule.severity_applies else 1.0
    limits = intervals.next_limits(rule, start, dones, severity)
    if limits is None and alarm is None:
        return None
    limits = limits or Limits(None, None, None, None, False)
    begun_on = (dones[-1] if dones else start).on
    due = intervals.first_to_come(limits, anchor, rates, override_on=alarm[0] if alarm else None, not_before=begun_on)
    facts = {
        "rule": _plain(rule),
        "last": _plain(dones[-1]) if dones else None,
        "limits": _plain(limits),
        "anchor": _plain(anchor),
        "rate_km_per_day": round(rates.km_per_day or 0.0, 4),
        "rate_words": clock.rate.words,
        "severity": severity,
        "measured": alarm[1] if alarm else "",
    }
    return _values(fitment, task, due, intervals.early_from(due, rule, rates), facts)


def _points(ground: Ground, run: ComponentRun, clock: TrikeClock, days: Sequence[float]) -> tuple[list[Point], Rates]:
    """The component's meters on each of `days`, and how fast they run."""
    cycles, cycles_rate = _meter_on(ground, run, "cycles", days)
    hours, hours_rate = _meter_on(ground, run, "hours", days)
    points = []
    for index, day in enumerate(days):
        life = run.life_at(day)
        km = None if life.is_unknown else round(float(life.km), 3)
        hour = hours[index] if hours else derived_hours(km)
        points.append(Point(date_of_day(day), km, hour, cycles[index] if cycles else None))
    per_day = clock.rate.km_per_day
    return points, Rates(per_day, hours_rate if hours else derived_hours(per_day), cycles_rate)


def _meter_on(
    ground: Ground, run: ComponentRun, name: str, days: Sequence[float]
) -> tuple[list[float] | None, float | None]:
    rows = ground.meters.get((run.component_id, METER_NAMES[name]))
    if not rows or run.first_day is None:
        return None, None
    line = build_timeline([day for day, _ in rows], [value for _, value in rows], (), zero_day=run.first_day)
    rate = plain_rate(line)
    if rate.basis == "typical":
        return None, None
    return [round(float(value), 3) for value in line.life_at(list(days), rate.km_per_day)], rate.km_per_day


def _event_line(ground: Ground, fitment: Fitment, task) -> dict[str, Any] | None:
    if fitment.position != "frame":
        return None
    kinds = {kind for kind, code in CHECK_AFTER.items() if code == task.code}
    done = max(ground.completions.get((fitment.component_id, task.code), [0.0]))
    open_ones = [
        row
        for row in ground.occurrences.get(fitment.trike_id, [])
        if row.kind in kinds and day_of(row.happened_at) > done
    ]
    if not open_ones:
        return None
    first = open_ones[0]
    on = local_date(first.happened_at)
    facts = {"rule": _plain(Rule(task=task.code, title=task.title, safety=task.safety)),
             "event": first.get_kind_display(), "event_on": on.isoformat()}  # fmt: skip
    return _values(fitment, task, Due(on, "event", None), on, facts)


def _values(fitment: Fitment, task, due: Due, early_on: date | None, facts: dict[str, Any]) -> dict[str, Any]:
    return {
        "component_id": fitment.component_id,
        "trike_id": fitment.trike_id,
        "task": task.code,
        "due_on": due.on,
        "early_on": early_on,
        "trigger": due.trigger or "",
        "due_life_km": None if due.km is None else round(due.km, 3),
        "safety": task.safety,
        "owner_can": task.owner_can,
        "facts": facts,
    }


def _plain(told: Rule | Limits | Point) -> dict[str, Any]:
    """The same values as JSON keeps them: dates as ISO text, nothing that is empty."""
    return {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in vars(told).items()
        if value is not None
    }


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
    once_there = Fitment.objects.filter(trike_id__in=ids, removed_at__isnull=False).values("component_id")
    return ids | set(Fitment.objects.current().filter(component_id__in=once_there).values_list("trike_id", flat=True))


def due_list(*, with_owner_tasks: bool = False) -> QuerySet[DueLine]:
    """Return the due list with all a page or the API shows of a line, soonest first.

    What owners do themselves (air, tyre pressure, wash and lube) is left out unless asked for: it would bury the bench.
    """
    lines = DueLine.objects.filter(due_on__isnull=False, trike__state=Trike.State.DELIVERED)
    if not with_owner_tasks:
        lines = lines.filter(owner_can=False)
    return lines.select_related("trike", "component__part_type").order_by("due_on", "trike__frame_serial", "pk")


def describe(line: DueLine, today: date, unit: str = "km") -> str:
    """Return why `line` is due, in one sentence with its numbers, for a reader of `unit`."""
    facts = line.facts
    rule = _rule_from(facts["rule"])
    if "event" in facts:
        day = date.fromisoformat(facts["event_on"])
        return f"{rule.title}: {facts['event']} on {intervals.say_date(day)}. Due before the next ride."
    anchor = _point_from(facts["anchor"])
    now_km = None
    if anchor.km is not None:
        now_km = anchor.km + facts["rate_km_per_day"] * max((today - anchor.on).days, 0)
    return intervals.sentence(
        rule,
        last=_point_from(facts["last"]) if facts["last"] else None,
        limits=_limits_from(facts["limits"]),
        due=Due(line.due_on, line.trigger or None, line.due_life_km),
        now_km=now_km,
        today=today,
        unit=unit,
        rate_words=facts["rate_words"] if line.trigger == "km" else "",
        severity=facts["severity"],
        measured=facts["measured"],
    )


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
