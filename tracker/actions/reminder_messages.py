"""Messages of the sweep: at most one a week about a trike; each stage of a visit once; a question before a guess.

Steps of the sweep (actions/reminders.py): they open no transaction of their own.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from services.kinds import task as task_of
from services.reminding import Step
from services.visits import stage
from tracker.actions.posting import new_message_id
from tracker.models import Appointment, DueLine, OutboxMessage, Owner, Visit, VisitLine
from tracker.queries.appointments import with_open_appointment
from tracker.queries.asking import Key, may_be_asked, read_days, steps_of
from tracker.queries.clock import date_of_day, local_date
from tracker.queries.owner_hours import may_arrive
from tracker.queries.reminders import LEAD_DAYS, may_write_to, owner_today, owners_of, stage_word

GAP = timedelta(days=7)  # between two messages about one trike
MONTH = timedelta(days=30)
STAGES = ("heads_up", "due", "overdue")
REMINDER, QUESTION = "reminder", "question"
SNOOZED = "snoozed"  # the one message that comes through a snooze: safety work is due


@dataclass(frozen=True)
class Sent:
    """The messages of one trike so far, as far as they matter for the next."""

    visit_id: int | None
    stage: str
    at: datetime


@dataclass(frozen=True)
class VisitFacts:
    """The tasks of a visit: when the first of them falls due, and the first that safety hangs on."""

    keys: frozenset[Key]
    due_on: date
    safety_on: date | None

    @property
    def own_only(self) -> bool:
        """Whether the owner can do all of it."""
        return all(task_of(task).owner_can for _, task in self.keys)


@dataclass(frozen=True)
class _Ground:
    """What the messages of a shard rest on. Owners are those who may be written to."""

    now: datetime
    owners: dict[int, Owner]
    history: dict[int, list[Sent]]
    facts: dict[int, VisitFacts]
    appointments: dict[int, str]


def write_messages(visits: Sequence[Visit], lines: Mapping[int, Sequence[DueLine]], now: datetime) -> int:
    """Write the messages that these visits and due lines (by trike) call for; return how many are new."""
    ids = sorted({visit.trike_id for visit in visits} | set(lines))
    owners = {pk: owner for pk, owner in owners_of(ids).items() if may_write_to(owner)}
    history = _sent(owners)
    facts = _facts_of([visit.pk for visit in visits])
    ground = _Ground(now, owners, history, facts, with_open_appointment(owners, local_date(now)))
    open_visits = {visit.trike_id: visit for visit in visits}
    words = {pk: _word(visit, ground) for pk, visit in open_visits.items() if pk in owners}
    steps = _steps(ground, open_visits, lines)
    planned = {pk: facts[visit.pk].keys for pk, visit in open_visits.items()}
    asked = [pk for pk, some in steps.items() if _asks_first(words.get(pk, ""), some, planned.get(pk, ()))]
    messages = [_question(pk, owners[pk], now) for pk in asked]
    _note_last_readings(messages)
    messages += [
        _reminder(open_visits[pk], owners[pk], word, now) for pk, word in words.items() if word and pk not in asked
    ]
    keys = {message.key for message in messages}
    there = set(OutboxMessage.objects.filter(key__in=keys).values_list("key", flat=True))
    OutboxMessage.objects.bulk_create(messages, ignore_conflicts=True, batch_size=200)
    return len(keys - there)


def _sent(owners: Mapping[int, Owner]) -> dict[int, list[Sent]]:
    """Trike id -> reminders and questions to its present owner that went out, may have, or will; oldest first.

    What waits counts from when it may go out. What the owner before was told says nothing to this one.
    """
    history: dict[int, list[Sent]] = {}
    rows = OutboxMessage.objects.filter(trike_id__in=list(owners), kind__in=[REMINDER, QUESTION])
    for row in rows.exclude(state=OutboxMessage.State.DROPPED).only(
        "trike_id", "owner_id", "visit_id", "stage", "sent_at", "created_at", "not_before"
    ):
        if row.owner_id == owners[row.trike_id].pk:
            at = row.sent_at or max(row.created_at, row.not_before)
            history.setdefault(row.trike_id, []).append(Sent(row.visit_id, row.stage, at))
    return {pk: sorted(some, key=lambda sent: sent.at) for pk, some in history.items()}


def _facts_of(visit_ids: Sequence[int]) -> dict[int, VisitFacts]:
    lines: dict[int, list[VisitLine]] = {}
    for line in VisitLine.objects.filter(visit_id__in=visit_ids):
        lines.setdefault(line.visit_id, []).append(line)
    return {
        pk: VisitFacts(
            keys=frozenset((line.component_id, line.task) for line in some),
            due_on=min(line.due_on for line in some),
            safety_on=min((line.due_on for line in some if task_of(line.task).safety), default=None),
        )
        for pk, some in lines.items()
    }


# Which stage


def _word(visit: Visit, ground: _Ground) -> str:
    """The stage to write about now, or an empty text. Whose day is agreed is not called to agree one."""
    facts, owner = ground.facts[visit.pk], ground.owners[visit.trike_id]
    history, today = ground.history.get(visit.trike_id, ()), owner_today(owner, ground.now)
    if ground.appointments.get(visit.trike_id) == Appointment.State.CONFIRMED:
        return ""
    if is_snoozed(visit, today):
        return snoozed_stage(facts.safety_on, today, visit.pk, history, ground.now, owner.time_zone)
    return next_stage(facts.due_on, today, visit.pk, history, ground.now, facts.own_only)


def is_snoozed(visit: Visit | None, today: date) -> bool:
    """Whether the owner asked not to be written to about this visit yet. A snooze ends by itself."""
    return visit is not None and visit.snoozed_until is not None and today < visit.snoozed_until


def snoozed_stage(
    safety_on: date | None, today: date, visit_id: int, history: Sequence[Sent], now: datetime, zone: str
) -> str:  # fmt: skip
    """Return 'snoozed' where safety work has fallen due and the owner was not told since; else an empty text."""
    if safety_on is None or safety_on > today or (history and now - history[-1].at < GAP):
        return ""
    told = any(
        sent.visit_id == visit_id and (sent.stage == SNOOZED or sent.at.astimezone(ZoneInfo(zone)).date() >= safety_on)
        for sent in history
    )
    return "" if told else SNOOZED


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
    written = [sent.stage for sent in history if sent.visit_id == visit_id and sent.stage != SNOOZED]
    if own_only:
        return "due" if word in {"due", "overdue"} and not written else ""
    if word == "overdue" and _rank(written) >= STAGES.index("overdue"):
        months = sum(name.startswith("monthly") for name in written)
        return f"monthly-{months + 1}" if now - history[-1].at >= MONTH else ""
    return word if word and STAGES.index(word) > _rank(written) else ""


def _rank(written: Iterable[str]) -> int:
    """How far the stages of a visit have come; -1 before the first."""
    return max((STAGES.index(name) if name in STAGES else len(STAGES) for name in written), default=-1)


# Asking first


def _steps(
    ground: _Ground, visits: Mapping[int, Visit], lines: Mapping[int, Sequence[DueLine]]
) -> dict[int, dict[Key, Step]]:
    """Trike id -> what each of its tasks calls for, of those whose owners may be asked now."""
    asked = {
        pk: [sent.at for sent in ground.history.get(pk, ()) if sent.stage == QUESTION]
        for pk in ground.owners
        if pk in lines and _may_hear(pk, visits.get(pk), ground)
    }
    return steps_of(lines, may_be_asked(asked, ground.now), ground.now)


def _may_hear(trike_id: int, visit: Visit | None, ground: _Ground) -> bool:
    """Whether a question is in place: nothing written for a week, nor about the open visit; no snooze, no appointment."""
    history = ground.history.get(trike_id, ())
    if trike_id in ground.appointments or (history and ground.now - history[-1].at < GAP):
        return False
    if visit is None:
        return True
    told = any(sent.visit_id == visit.pk for sent in history)
    return not told and not is_snoozed(visit, owner_today(ground.owners[trike_id], ground.now))


def _asks_first(word: str, steps: Mapping[Key, Step], visit_keys: Collection[Key]) -> bool:
    """Whether a question goes out, instead of the reminder where one is called for (`word`).

    A reminder is held back only where none of the visit's own tasks calls for it without a reading.
    """
    if not word:
        return Step.ASK in steps.values()
    of_visit = {step for key, step in steps.items() if key in visit_keys}
    return Step.ASK in of_visit and Step.REMIND not in of_visit


# Written


def _reminder(visit: Visit, owner: Owner, word: str, now: datetime) -> OutboxMessage:
    payload = {"planned_on": visit.planned_on.isoformat()}
    if word == SNOOZED and visit.snoozed_until is not None:
        payload["snoozed_until"] = visit.snoozed_until.isoformat()
    return _message(
        key=f"{visit.trike_id}:{visit.pk}:{word}", kind=REMINDER, stage=word, trike_id=visit.trike_id, owner=owner,
        visit=visit, payload=payload, now=now,
    )  # fmt: skip


def _question(trike_id: int, owner: Owner, now: datetime) -> OutboxMessage:
    return _message(
        key=f"{trike_id}:ask:{local_date(now).isoformat()}", kind=QUESTION, stage=QUESTION, trike_id=trike_id,
        owner=owner, now=now,
    )  # fmt: skip


def _message(*, owner: Owner, now: datetime, **values) -> OutboxMessage:
    return OutboxMessage(
        owner=owner, message_id=new_message_id(), not_before=may_arrive(owner, now), created_at=now, **values
    )  # fmt: skip


def _note_last_readings(questions: Sequence[OutboxMessage]) -> None:
    """Keep beside each question when its trike was read last: the letter says so. Two queries for all."""
    days = read_days([row.trike_id for row in questions]) if questions else {}
    for row in questions:
        row.payload = {"read_on": date_of_day(days[row.trike_id]).isoformat()} if row.trike_id in days else {}
