"""Visits of the sweep: one open per trike, its day kept while the plan hardly moves and put where the bench has room.

Steps of the sweep (actions/reminders.py): they open no transaction of their own.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.db.models import F

from services.bench_days import Bench, day_with_room
from services.due_words import say_date
from services.kinds import bench_minutes
from services.kinds import task as task_of
from services.visit_plan import next_visit
from services.visit_words import reasons, words
from services.visits import PlannedVisit, VisitTask, latest_on
from tracker.models import DueLine, Visit, VisitLine
from tracker.queries.bench_load import BenchLoad, bench_load
from tracker.queries.clock import local_date
from tracker.queries.closings import Closed
from tracker.queries.reminders import LEAD_DAYS
from tracker.queries.visits import visit_task

WEEK = timedelta(days=7)


def plan_for(lines: Iterable[DueLine], today: date, closed: Closed) -> PlannedVisit | None:
    """Return the visit these due lines call for, on a day the workshop works.

    What owners can do themselves never calls them to the workshop: such tasks make a plan of their own only where the
    workshop has nothing to do.
    """
    lines = list(lines)
    for for_owner in (False, True):
        tasks = [visit_task(line) for line in lines if line.owner_can is for_owner]
        plan = next_visit(tasks, today, lead_days=LEAD_DAYS, **closed)
        if plan is not None:
            return replace(plan, minutes=bench_minutes(task for _, task in plan.keys))
    return None


def plan_visits(
    ids: Sequence[int], lines: Mapping[int, Sequence[DueLine]], now: datetime
) -> tuple[list[Visit], int]:  # fmt: skip
    """Bring the open visits of these trikes in line with their due lines; return them and how many changed."""
    today = local_date(now)
    visits = Visit.objects.filter(trike_id__in=ids, state=Visit.State.OPEN).prefetch_related("lines")
    standing = {visit.trike_id: visit for visit in visits}
    sorting = _Sorting(now, today, bench_load(today))
    plans = {trike_id: plan_for(lines.get(trike_id, ()), today, sorting.load.closed) for trike_id in ids}
    for trike_id in sorted(ids, key=lambda pk: _turn(pk, plans[pk], lines.get(pk, ()))):
        sorting.take(trike_id, plans[trike_id], standing.get(trike_id), lines.get(trike_id, ()))
    sorting.save()
    return sorting.new + sorting.changed + sorting.kept, len(sorting.new) + len(sorting.changed)


@dataclass
class _Sorting:
    """What becomes of each trike's visit, and the lines of those to write."""

    now: datetime
    today: date
    load: BenchLoad
    new: list[Visit] = field(default_factory=list)
    changed: list[Visit] = field(default_factory=list)
    kept: list[Visit] = field(default_factory=list)
    dropped: list[Visit] = field(default_factory=list)
    lines: list[VisitLine] = field(default_factory=list)

    def take(self, trike_id: int, plan: PlannedVisit | None, visit: Visit | None, due: Sequence[DueLine]) -> None:
        """Sort one trike: its plan, the visit that stands, its due lines."""
        if visit is not None and (plan is None or _for_owner(_keys(visit)) != _for_owner(plan.keys)):
            self.dropped.append(visit)
            visit = None
        if plan is None:
            self.load.leave(trike_id)
            return
        plan = _settled(plan, visit, trike_id, due, self.today, self.load)
        dates = {(line.component_id, line.task): line.due_on for line in due}
        wanted = {key: dates[key] for key in plan.keys}
        if visit is None:
            visit = Visit(trike_id=trike_id, opened_at=self.now)
            self.new.append(visit)
        elif _differs(visit, plan, wanted):
            visit.sequence += 1
            self.changed.append(visit)
        else:
            self.kept.append(visit)
            return
        visit.planned_on, visit.minutes, visit.words = plan.on, plan.minutes, plan.words[:400]
        self.lines += [
            VisitLine(visit=visit, component_id=component_id, task=task, due_on=due_on, reason=reason[:200])
            for ((component_id, task), due_on), reason in zip(wanted.items(), plan.reasons, strict=True)
        ]

    def save(self) -> None:
        """Write all of it in a fixed number of statements. Dropped ones first: one open visit per trike."""
        Visit.objects.filter(pk__in=[visit.pk for visit in self.dropped]).update(
            state=Visit.State.DROPPED, closed_at=self.now, sequence=F("sequence") + 1
        )
        Visit.objects.bulk_create(self.new)
        if self.changed:
            Visit.objects.bulk_update(self.changed, ["planned_on", "minutes", "words", "sequence"])
            VisitLine.objects.filter(visit__in=self.changed).delete()
        VisitLine.objects.bulk_create(self.lines, batch_size=500)


def _settled(
    plan: PlannedVisit, visit: Visit | None, trike_id: int, lines: Sequence[DueLine], today: date, load: BenchLoad
) -> PlannedVisit:
    """The plan on its day: the one agreed, else where the bench has room, else the one proposed before while it is near."""
    tasks = _tasks(plan, lines)
    if _for_owner(plan.keys):  # nobody waits for it at the bench
        load.leave(trike_id)
        return _moved(plan, tasks, _standing_day(plan.on, visit, tasks, today, load.bench()))
    if trike_id in load.agreed:
        day = load.agreed[trike_id]
        return _moved(plan, tasks, day, f"Agreed with the owner for {say_date(day)}.")
    load.leave(trike_id)
    bench = load.bench()
    room = day_with_room(plan.on, plan.minutes, bench, today=today, latest=_limit(tasks))
    day = _standing_day(room.on, visit, tasks, today, bench)
    load.take(trike_id, day, plan.minutes)
    return _moved(plan, tasks, day, room.words if day == room.on else "")


def _turn(trike_id: int, plan: PlannedVisit | None, lines: Sequence[DueLine]) -> tuple[date, date, int]:
    """Who chooses a day first: who needs none and leaves room, whose safety tasks can wait least, whose day comes first."""
    if plan is None:
        return date.min, date.min, trike_id
    return _limit(_tasks(plan, lines)) or date.max, plan.on, trike_id


def _limit(tasks: Sequence[VisitTask]) -> date | None:
    """The last day that the safety tasks may wait for; None without one."""
    return min((latest_on(task) for task in tasks if task.safety), default=None)


def _tasks(plan: PlannedVisit, lines: Sequence[DueLine]) -> list[VisitTask]:
    """The tasks of a plan, in its order."""
    tasks = {(line.component_id, line.task): line for line in lines}
    return [visit_task(tasks[key]) for key in plan.keys]


def _moved(plan: PlannedVisit, tasks: Sequence[VisitTask], on: date, why: str = "") -> PlannedVisit:
    """The plan on another day, in words that are true of that day."""
    if on != plan.on:
        plan = replace(plan, on=on, words=words(tasks, on), reasons=reasons(tasks, on))
    return replace(plan, words=f"{why} {plan.words}") if why else plan


def _standing_day(on: date, visit: Visit | None, tasks: Sequence[VisitTask], today: date, bench: Bench) -> date:
    """Keep a proposed day while the new one differs by less than a week only: a date that moves nightly is worth nothing.

    A day on which the workshop has closed since is not kept.
    """
    if visit is None or not today <= visit.planned_on or abs(visit.planned_on - on) >= WEEK:
        return on
    if not bench.is_open(visit.planned_on):
        return on
    limits = [latest_on(task) for task in tasks if task.safety]
    too_late = any(visit.planned_on > last >= today for last in limits)
    return on if too_late else visit.planned_on


def _keys(visit: Visit) -> list[tuple[int, str]]:
    return [(line.component_id, line.task) for line in visit.lines.all()]


def _for_owner(keys: Iterable[tuple[int, str]]) -> bool:
    """Whether the owner can do all of it: then it is no visit to the workshop."""
    return all(task_of(task).owner_can for _, task in keys)


def _differs(visit: Visit, plan: PlannedVisit, wanted: dict[tuple[int, str], date]) -> bool:
    stored = {(line.component_id, line.task): line.due_on for line in visit.lines.all()}
    return visit.planned_on != plan.on or stored != wanted
