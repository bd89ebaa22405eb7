"""From the record to due lines: every task's limits, then all forecasts of some trikes at once. Independent of today."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from services import intervals
from services.bulletin_due import first_due
from services.first_limits import Clock, first_of_limits
from services.intervals import Due, Limits, Point, Rebase, Rule
from services.kinds import task as task_of
from services.kinds import tasks_for
from services.life import MEAN_SPEED_SPREAD, derived_hours, derived_km
from services.rates import RateState
from tracker.models import BulletinPart, Fitment, Occurrence, ServiceInterval
from tracker.queries.bulletin_parts import task_code, terms_of
from tracker.queries.clock import date_of_day, day_of, day_of_date, local_date
from tracker.queries.due_ground import Alarm, Ground, ground_of
from tracker.queries.life import ComponentRun, MeterClock, TrikeClock

CHECK_AFTER = {
    Occurrence.Kind.CRASH: "after_crash",
    Occurrence.Kind.SUBMERSION: "after_submersion",
    Occurrence.Kind.LAY_UP: "after_lay_up",
}
LEVELS = (0.1, 0.5, 0.9)
HORIZON_DAYS = 4 * 365.25  # after the last reading; what is expected later has no date


@dataclass(frozen=True)
class _Asked:
    """One task with its limits. targets: trigger -> value on the trike's or the meter's clock; calendar: its day, or nan."""

    fitment: Fitment
    task: Any
    rule: Rule
    limits: Limits
    last: Point | None
    anchor: Point
    begun_on: date
    severity: float
    alarm: Alarm | None
    clock: TrikeClock
    own_meters: tuple[tuple[str, MeterClock], ...]
    targets: dict[str, float]
    calendar: float
    bulletin: BulletinPart | None = None


@dataclass(frozen=True)
class _Range:
    """The 10, 50 and 90 % dates (inf: after the horizon) and the trigger that decides at the median ('': none)."""

    days: tuple[float, float, float]
    trigger: str


def due_lines_of(trike_ids: Iterable[int]) -> list[dict[str, Any]]:
    """Return the due lines of these trikes as DueLine field values, computed from the record. Independent of today."""
    ground = ground_of(trike_ids)
    lines, asked = [], []
    for fitment in ground.fitments:
        for task in tasks_for(fitment.component.part_type.kind):
            if task.code in CHECK_AFTER.values():
                lines.append(_event_line(ground, fitment, task))
            else:
                asked.append(_asked(ground, fitment, task))
        asked += [_asked_by_bulletin(ground, fitment, part) for part in ground.bulletins.get(fitment.component_id, ())]
    asked = [row for row in asked if row is not None]
    lines += [_values_of(row, span) for row, span in zip(asked, _ranges(asked), strict=True)]
    return [line for line in lines if line is not None]


# Limits


def _asked(ground: Ground, fitment: Fitment, task) -> _Asked | None:
    component = fitment.component
    kind = component.part_type.kind
    interval = ground.intervals.get((task.code, kind, component.part_type_id)) or ground.intervals.get(
        (task.code, kind, None)
    )
    alarm = next((ground.alarms[component.pk, q] for q in task.asks if (component.pk, q) in ground.alarms), None)
    if interval is None and alarm is None:
        return None
    rule = rule_of(interval, task) if interval else Rule(task=task.code, title=task.title, safety=task.safety)
    run, clock = ground.runs[fitment.component_id], ground.clocks[fitment.trike_id]
    begun = run.first_day or day_of(fitment.fitted_at)
    done_days = ground.completions.get((fitment.component_id, task.code), [])
    anchor_day = max(clock.timeline.last_day, day_of(fitment.fitted_at), clock.zero_day)
    meters = tuple(
        (name, ground.meters[component.pk, name])
        for name in ("hours", "cycles")
        if (component.pk, name) in ground.meters
    )
    start, *dones, anchor = _points(run, dict(meters), [begun, *done_days, anchor_day])
    severity = fitment.trike.severity if rule.severity_applies else 1.0
    limits = intervals.next_limits(rule, start, dones, severity)
    if limits is None and alarm is None:
        return None
    limits = limits or Limits(None, None, None, None, False)
    return _Asked(
        fitment, task, rule, limits, dones[-1] if dones else None, anchor, (dones[-1] if dones else start).on, severity,
        alarm, clock, meters, _targets(limits, anchor, anchor_day, clock, dict(meters)),
        math.nan if limits.on is None else day_of_date(limits.on),
    )  # fmt: skip


def _asked_by_bulletin(ground: Ground, fitment: Fitment, part: BulletinPart) -> _Asked | None:
    """What a bulletin asks of a component; None where it only informs."""
    terms, task = terms_of(part.bulletin), task_of(task_code(part.bulletin))
    run, clock = ground.runs[fitment.component_id], ground.clocks[fitment.trike_id]
    anchor_day = max(clock.timeline.last_day, day_of(fitment.fitted_at), clock.zero_day)
    joined, anchor = _points(run, {}, [day_of(part.joined_at), anchor_day])
    limits = Limits(part.next_due_on, part.next_due_km, None, None, False)
    if limits.on is None and limits.km is None:
        limits = first_due(terms, local_date(part.joined_at), joined.km)
    if limits is None:
        return None
    rule = Rule(
        task=task.code, title=task.title, verb=task.verb, safety=task.safety, severity_applies=False,
        every_months=terms.every_months, every_km=terms.every_km,
    )  # fmt: skip
    begun_on = joined.on if part.done_at is None else local_date(part.done_at)
    return _Asked(
        fitment, task, rule, limits, None, anchor, begun_on, 1.0, None, clock, (),
        _targets(limits, anchor, anchor_day, clock, {}), math.nan if limits.on is None else day_of_date(limits.on), part,
    )  # fmt: skip


def rule_of(interval: ServiceInterval, task) -> Rule:
    """Return the interval as services/ takes it."""
    return Rule(
        task=task.code, title=task.title, verb=task.verb, safety=task.safety,
        first_km=interval.first_km, first_days=interval.first_days, first_hours=interval.first_hours,
        first_cycles=interval.first_cycles, every_km=interval.every_km, every_months=interval.every_months,
        every_days=interval.every_days, every_hours=interval.every_hours, every_cycles=interval.every_cycles,
        early_km=interval.early_km, early_days=interval.early_days, rebase=Rebase(interval.rebase), once=interval.once,
    )  # fmt: skip


def _points(run: ComponentRun, meters: dict[str, MeterClock], days: Sequence[float]) -> list[Point]:
    """The component's meters on each of `days`; hours without a meter of their own are derived from the distance."""
    told = {
        name: [round(float(value), 3) for value in meter.timeline.life_at(list(days))] for name, meter in meters.items()
    }
    points = []
    for index, day in enumerate(days):
        life = run.life_at(day)
        km = None if life.is_unknown else round(float(life.km), 3)
        hours = told["hours"][index] if "hours" in told else derived_hours(km)
        points.append(Point(date_of_day(day), km, hours, told["cycles"][index] if "cycles" in told else None))
    return points


def _targets(
    limits: Limits, anchor: Point, anchor_day: float, clock: TrikeClock, meters: dict[str, MeterClock]
) -> dict[str, float]:
    """Where the trike's distance, and the component's own meters, stand when each limit is reached."""
    here = float(clock.timeline.life_at(anchor_day))
    targets = {}
    if limits.km is not None and anchor.km is not None:
        targets["km"] = here + limits.km - anchor.km
    for name in ("hours", "cycles"):
        limit, at = getattr(limits, name), getattr(anchor, name)
        if limit is None or at is None:
            continue
        if name in meters:
            targets[name] = limit
        elif name == "hours":
            targets["derived_hours"] = here + derived_km(limit - at)
    return targets


# Forecasts


def _ranges(asked: Sequence[_Asked]) -> list[_Range]:
    """The due ranges of all tasks; those with the same clocks are forecast together."""
    answer: list[_Range | None] = [_reached_already(row) for row in asked]
    groups: dict[tuple, list[int]] = {}
    for place, row in enumerate(asked):
        if answer[place] is None:
            key = (row.clock.book.row_id, tuple(name for name, _ in row.own_meters), tuple(sorted(row.targets)))
            groups.setdefault(key, []).append(place)
    for places in groups.values():
        for place, span in zip(places, _forecast([asked[place] for place in places]), strict=True):
            answer[place] = span
    return answer


def _reached_already(row: _Asked) -> _Range | None:
    """The day a limit was passed, as the readings tell; None while no reading shows one passed."""
    if row.alarm is not None:
        return _Range((row.alarm.on.toordinal(),) * 3, "condition")
    meters = dict(row.own_meters)
    passed = []
    for name, target in row.targets.items():
        clock = meters.get(name) or row.clock
        if target <= clock.timeline.last_km:
            passed.append((clock.timeline.day_reached(target), "hours" if name == "derived_hours" else name))
    if not passed and (row.targets or math.isnan(row.calendar)):
        return None if row.targets else _Range((math.inf,) * 3, "")
    if not math.isnan(row.calendar):
        passed.append((row.calendar, "date"))
    day, trigger = min(passed)
    return _Range((day,) * 3, trigger)


def _forecast(rows: Sequence[_Asked]) -> list[_Range]:
    """The ranges of tasks that have the same kinds of limits and the same fleet numbers."""
    book = rows[0].clock.book
    names = sorted(rows[0].targets)
    trike = {name: np.array([row.targets[name] for row in rows]) for name in names if name in ("km", "derived_hours")}
    state = RateState.stacked([row.clock.state for row in rows])
    clocks = []
    if trike:
        clocks.append(Clock(state, book.km, trike, {"derived_hours": MEAN_SPEED_SPREAD}))
    for name, _ in rows[0].own_meters:
        if name in names:
            own = RateState.stacked([dict(row.own_meters)[name].state for row in rows])
            clocks.append(Clock(own, getattr(book, name), {name: np.array([row.targets[name] for row in rows])}))
    horizon = np.asarray(state.last_day) + HORIZON_DAYS
    first = first_of_limits(clocks, LEVELS, horizon, np.array([row.calendar for row in rows]))
    triggers = ["hours" if name == "derived_hours" else name for name in first.names]
    return [
        _Range(tuple(float(day) for day in days), triggers[trigger] if trigger >= 0 else "")
        for days, trigger in zip(first.days, first.trigger, strict=True)
    ]


# Lines


def _values_of(row: _Asked, span: _Range) -> dict[str, Any]:
    rule, clock = row.rule, row.clock
    low, middle, high = (_no_earlier(_date(day), row.begun_on) for day in span.days)
    if row.alarm is not None:
        low = middle = high = row.alarm.on
    due = Due(middle, span.trigger or None, row.limits.km)
    early = intervals.early_from(due, rule, clock.rate.km_per_day)
    facts = {
        "rule": plain(rule),
        "last": plain(row.last) if row.last else None,
        "limits": plain(row.limits),
        "anchor": plain(row.anchor),
        "rate": clock.rate.as_dict(),
        "target_km": row.targets.get("km", row.targets.get("derived_hours")),
        "severity": row.severity,
        "measured": row.alarm.words if row.alarm else "",
    } | ({"finding": row.alarm.finding} if row.alarm else {})
    if row.bulletin is not None:
        facts["bulletin"] = _bulletin_facts(row.bulletin)
        if row.bulletin.done_at is None and due.on is not None:
            early = min(row.begun_on, due.on)  # it stands on the next visit, whatever its deadline
    return _values(row.fitment, row.task, due, (low, high), early, facts)


def _bulletin_facts(part: BulletinPart) -> dict[str, Any]:
    bulletin = part.bulletin
    return {
        "id": bulletin.pk,
        "number": bulletin.number,
        "title": bulletin.title,
        "severity": bulletin.get_severity_display(),
        "certainty": part.certainty,
        "done_on": local_date(part.done_at).isoformat() if part.done_at else None,
    }


def _date(day: float) -> date | None:
    return None if math.isinf(day) else date.fromordinal(int(day))


def _no_earlier(day: date | None, begun_on: date) -> date | None:
    """A task never falls due before the interval began."""
    return None if day is None else max(day, begun_on)


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
    facts = {"rule": plain(Rule(task=task.code, title=task.title, safety=task.safety)),
             "event": first.get_kind_display(), "event_on": on.isoformat()}  # fmt: skip
    return _values(fitment, task, Due(on, "event", None), (on, on), on, facts)


def _values(
    fitment: Fitment,
    task,
    due: Due,
    likely: tuple[date | None, date | None],
    early_on: date | None,
    facts: dict[str, Any],
) -> dict[str, Any]:
    return {
        "component_id": fitment.component_id,
        "trike_id": fitment.trike_id,
        "task": task.code,
        "due_on": due.on,
        "likely_from": likely[0],
        "likely_until": likely[1],
        "early_on": early_on,
        "trigger": due.trigger or "",
        "due_life_km": None if due.km is None else round(due.km, 3),
        "safety": task.safety,
        "owner_can": task.owner_can,
        "facts": facts,
    }


def plain(told: Rule | Limits | Point) -> dict[str, Any]:
    """The same values as JSON keeps them: dates as ISO text, nothing that is empty."""
    return {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in vars(told).items()
        if value is not None
    }
