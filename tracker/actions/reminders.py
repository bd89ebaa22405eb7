"""The sweep: due lines brought up to date, one visit planned per trike, at most one message per visit and stage.

Safe to run twice and at the same time: the trikes of a shard are locked in the order of their keys, one open visit per
trike and one message per (trike, visit, stage) are unique in the database.
"""

import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from email.utils import parseaddr

from django.conf import settings
from django.db.models import F, Q

from services.kinds import task as task_of
from services.quiet_hours import next_allowed
from services.visit_plan import next_visit
from services.visits import PlannedVisit, latest_on, stage
from tracker.actions.steps import chunks, refresh_due
from tracker.actions.transactions import action
from tracker.models import DueLine, OutboxMessage, Owner, SweepRun, Trike, Visit, VisitLine
from tracker.queries.clock import local_date
from tracker.queries.due import trikes_sharing_parts
from tracker.queries.fleet_numbers import latest_numbers
from tracker.queries.reminders import (
    LEAD_DAYS,
    due_lines_by_trike,
    in_share,
    may_write_to,
    owner_today,
    owners_of,
    stage_word,
    trikes_to_sweep,
)
from tracker.queries.visits import visit_task

SHARD = 40  # trikes per transaction: short enough that the desk hardly waits on SQLite
GAP = timedelta(days=7)  # between two messages about one trike
WEEK = timedelta(days=7)
MONTH = timedelta(days=30)
STAGES = ("heads_up", "due", "overdue")


@dataclass(frozen=True)
class Swept:
    """What a shard or a sweep did. `differences`: stored due lines of clean trikes that were found wrong."""

    trikes: int = 0
    visits: int = 0
    messages: int = 0
    differences: int = 0


@dataclass(frozen=True)
class Sent:
    """The messages of one trike so far, as far as they matter for the next."""

    visit_id: int | None
    stage: str
    at: datetime


def run_sweep(*, now: datetime, everything: bool = False, tell: Callable[[int, int], None] | None = None) -> SweepRun:
    """Sweep shard by shard in this process; `tell(done, total)` hears of the progress."""
    run, shards = begin_sweep(now=now, everything=everything)
    done = 0
    for shard in shards:
        done += sweep_shard(run_id=run.pk, trike_ids=shard, now=now, check_all=everything).trikes
        if tell:
            tell(done, run.trikes_total)
    run.refresh_from_db()
    return run


@action
def begin_sweep(*, now: datetime, everything: bool = False) -> tuple[SweepRun, list[list[int]]]:
    """Write down that a sweep begins; return it with its shards of trike ids."""
    ids = trikes_to_sweep(now, everything=everything)
    run = SweepRun.objects.create(started_at=now, trikes_total=len(ids), finished_at=None if ids else now)
    return run, list(chunks(ids, SHARD))


@action
def sweep_shard(*, run_id: int, trike_ids: Sequence[int], now: datetime, check_all: bool = False) -> Swept:
    """Sweep one shard and add it to its run; the last shard ends the run.

    Due lines are computed afresh for dirty trikes and for the night's share, which proves that stored and computed
    lines agree; for all with `check_all`. Due lines do not depend on today, so the others need only the comparison.
    """
    swept = _sweep(trike_ids, now, check_all)
    SweepRun.objects.filter(pk=run_id).update(
        trikes_done=F("trikes_done") + swept.trikes,
        visits_planned=F("visits_planned") + swept.visits,
        messages_written=F("messages_written") + swept.messages,
        differences=F("differences") + swept.differences,
    )
    SweepRun.objects.filter(pk=run_id, finished_at__isnull=True, trikes_done__gte=F("trikes_total")).update(
        finished_at=now
    )
    return swept


@action
def sweep_trikes(*, trike_ids: Sequence[int], now: datetime) -> Swept:
    """Sweep these trikes outside of any run, their due lines computed afresh."""
    return _sweep(trike_ids, now, check_all=True)


@action
def put_right(*, trike_ids: Sequence[int], now: datetime) -> int:
    """Store freshly computed due lines of these trikes, and nothing else; return how many changed."""
    return refresh_due(trike_ids, now)


def _sweep(trike_ids: Sequence[int], now: datetime, check_all: bool) -> Swept:
    ids = sorted(set(trike_ids))
    share = set(ids) if check_all else {pk for pk in ids if in_share(pk, now)}
    affected = sorted(trikes_sharing_parts(ids))
    list(Trike.objects.select_for_update(of=("self",)).filter(pk__in=affected).order_by("pk").values_list("pk"))
    _take_over_numbers(ids)
    dirty = set(Trike.objects.filter(pk__in=ids, due_dirty=True).values_list("pk", flat=True))
    refresh_due(dirty, now)
    differences = refresh_due(share - dirty, now)
    visits, planned = _plan_visits(ids, now)
    messages = _write_messages(visits, now)
    return Swept(len(ids), planned, messages, differences)


def _take_over_numbers(ids: Sequence[int]) -> None:
    """Reckon these trikes with the newest fleet numbers from now on; their due lines follow in this transaction."""
    newest = latest_numbers()
    if newest is not None:
        behind = Trike.objects.filter(pk__in=ids).filter(~Q(fleet_numbers=newest) | Q(fleet_numbers__isnull=True))
        behind.update(fleet_numbers=newest, due_dirty=True)


# Visits


def plan_for(lines: Iterable[DueLine], today: date) -> PlannedVisit | None:
    """Return the visit these due lines call for. What owners can do themselves never calls them to the workshop:

    such tasks make a plan of their own only where the workshop has nothing to do.
    """
    lines = list(lines)
    for for_owner in (False, True):
        tasks = [visit_task(line) for line in lines if line.owner_can is for_owner]
        plan = next_visit(tasks, today, lead_days=LEAD_DAYS, closed_weekdays=settings.CLOSED_WEEKDAYS)
        if plan is not None:
            return plan
    return None


def _plan_visits(ids: Sequence[int], now: datetime) -> tuple[list[Visit], int]:
    """Bring the open visits of these trikes in line with their due lines; return them and how many changed."""
    today = local_date(now)
    lines = due_lines_by_trike(ids)
    standing = {
        visit.trike_id: visit
        for visit in Visit.objects.filter(trike_id__in=ids, state=Visit.State.OPEN).prefetch_related("lines")
    }
    new, changed, dropped, kept = [], [], [], []
    for trike_id in ids:
        plan = plan_for(lines.get(trike_id, ()), today)
        visit = standing.get(trike_id)
        if visit is not None and (plan is None or _for_owner(_keys(visit)) != _for_owner(plan.keys)):
            dropped.append(visit)
            visit = None
        if plan is None:
            continue
        plan = _standing_day(plan, visit, lines[trike_id], today)
        tasks = {(line.component_id, line.task): line.due_on for line in lines[trike_id]}
        wanted = {key: tasks[key] for key in plan.keys}
        if visit is None:
            visit = Visit(trike_id=trike_id, opened_at=now)
            new.append(visit)
        elif _differs(visit, plan, wanted):
            visit.sequence += 1
            changed.append(visit)
        else:
            kept.append(visit)
            continue
        visit.planned_on, visit.minutes, visit.words, visit.wanted = plan.on, plan.minutes, plan.words[:400], wanted
        visit.reasons = dict(zip(plan.keys, plan.reasons, strict=True))
    _save_visits(new, changed, dropped, now)
    return new + changed + kept, len(new) + len(changed)


def _standing_day(plan: PlannedVisit, visit: Visit | None, lines: Sequence[DueLine], today: date) -> PlannedVisit:
    """Keep a proposed day while the new plan differs by less than a week only: a date that moves nightly is worth nothing."""
    if visit is None or not today <= visit.planned_on or abs(visit.planned_on - plan.on) >= WEEK:
        return plan
    chosen = [
        latest_on(visit_task(line)) for line in lines if line.safety and (line.component_id, line.task) in plan.keys
    ]
    too_late = any(visit.planned_on > last >= today for last in chosen)
    return plan if too_late else replace(plan, on=visit.planned_on)


def _keys(visit: Visit) -> list[tuple[int, str]]:
    return [(line.component_id, line.task) for line in visit.lines.all()]


def _for_owner(keys: Iterable[tuple[int, str]]) -> bool:
    """Whether the owner can do all of it: then it is no visit to the workshop."""
    return all(task_of(task).owner_can for _, task in keys)


def _differs(visit: Visit, plan: PlannedVisit, wanted: dict[tuple[int, str], date]) -> bool:
    stored = {(line.component_id, line.task): line.due_on for line in visit.lines.all()}
    return visit.planned_on != plan.on or stored != wanted


def _save_visits(new: list[Visit], changed: list[Visit], dropped: list[Visit], now: datetime) -> None:
    """Write all of it in a fixed number of statements. Dropped ones first: one open visit per trike."""
    Visit.objects.filter(pk__in=[visit.pk for visit in dropped]).update(
        state=Visit.State.DROPPED, closed_at=now, sequence=F("sequence") + 1
    )
    Visit.objects.bulk_create(new)
    if changed:
        Visit.objects.bulk_update(changed, ["planned_on", "minutes", "words", "sequence"])
        VisitLine.objects.filter(visit__in=changed).delete()
    VisitLine.objects.bulk_create(
        [
            VisitLine(
                visit=visit,
                component_id=component_id,
                task=task,
                due_on=due_on,
                reason=visit.reasons[component_id, task][:200],
            )
            for visit in new + changed
            for (component_id, task), due_on in visit.wanted.items()
        ],
        batch_size=500,
    )


# Messages


def _write_messages(visits: Sequence[Visit], now: datetime) -> int:
    """Write the messages these visits call for; return how many are new."""
    ids = [visit.trike_id for visit in visits]
    owners = owners_of(ids)
    history = _sent(ids, owners)
    first_due = _first_due([visit.pk for visit in visits])
    messages = []
    for visit in visits:
        owner = owners.get(visit.trike_id)
        if not may_write_to(owner):
            continue
        due_on, own_only = first_due[visit.pk]
        word = next_stage(due_on, owner_today(owner, now), visit.pk, history.get(visit.trike_id, ()), now, own_only)
        if word:
            messages.append(_message(visit, owner, word, now))
    keys = {message.key for message in messages}
    there = set(OutboxMessage.objects.filter(key__in=keys).values_list("key", flat=True))
    OutboxMessage.objects.bulk_create(messages, ignore_conflicts=True, batch_size=200)
    return len(keys - there)


def _sent(ids: Sequence[int], owners: dict[int, Owner]) -> dict[int, list[Sent]]:
    """Trike id -> the reminders to its present owner that went out, may have, or will; oldest first."""
    history: dict[int, list[Sent]] = {}
    rows = OutboxMessage.objects.filter(trike_id__in=ids, kind="reminder").order_by("created_at", "pk")
    for row in rows.exclude(state=OutboxMessage.State.DROPPED).only(
        "trike_id", "owner_id", "visit_id", "stage", "sent_at", "created_at"
    ):
        if row.trike_id not in owners or row.owner_id != owners[row.trike_id].pk:
            continue  # what the owner before was told says nothing to this one
        history.setdefault(row.trike_id, []).append(Sent(row.visit_id, row.stage, row.sent_at or row.created_at))
    return history


def _first_due(visit_ids: Sequence[int]) -> dict[int, tuple[date, bool]]:
    """Visit id -> the day its first task falls due, and whether the owner can do all of it."""
    tasks: dict[int, list[tuple[date, str]]] = {}
    for visit_id, due_on, task in VisitLine.objects.filter(visit_id__in=visit_ids).values_list(
        "visit_id", "due_on", "task"
    ):
        tasks.setdefault(visit_id, []).append((due_on, task))
    return {
        pk: (min(due_on for due_on, _ in rows), all(task_of(task).owner_can for _, task in rows))
        for pk, rows in tasks.items()
    }


def next_stage(
    due_on: date, today: date, visit_id: int, history: Sequence[Sent], now: datetime, own_only: bool = False
) -> str:
    """Return the stage to write about now, or an empty text: one message at a time, never backwards, never all at once.

    Who comes to the service late gets one message, not those missed. After 'overdue' one a month, counted as written.
    What owners can do themselves gets one message, when it is due.
    """
    if history and now - history[-1].at < GAP:
        return ""
    word = stage_word(stage(due_on, today, LEAD_DAYS))
    written = [sent.stage for sent in history if sent.visit_id == visit_id]
    if own_only:
        return "due" if word in {"due", "overdue"} and not written else ""
    if word == "overdue" and _rank(written) >= STAGES.index("overdue"):
        months = sum(name.startswith("monthly") for name in written)
        return f"monthly-{months + 1}" if now - history[-1].at >= MONTH else ""
    return word if word and STAGES.index(word) > _rank(written) else ""


def _rank(written: Iterable[str]) -> int:
    """How far the stages of a visit have come; -1 before the first."""
    return max((STAGES.index(name) if name in STAGES else len(STAGES) for name in written), default=-1)


def _message(visit: Visit, owner: Owner, word: str, now: datetime) -> OutboxMessage:
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].partition("@")[2]
    return OutboxMessage(
        key=f"{visit.trike_id}:{visit.pk}:{word}",
        kind="reminder",
        stage=word,
        trike_id=visit.trike_id,
        owner=owner,
        visit=visit,
        message_id=f"<{uuid.uuid4()}@{domain}>",
        payload={"planned_on": visit.planned_on.isoformat()},
        not_before=next_allowed(now, owner.time_zone, settings.QUIET_UNTIL_HOUR, settings.QUIET_FROM_HOUR),
        created_at=now,
    )
