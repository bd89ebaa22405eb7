"""Days at the bench: asked for by owners, decided by the desk. A day holds what the bench can do, whoever asks first."""

from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import F

from services.due_words import say_date
from services.identity import clean_text
from services.language import say
from tracker.actions.bulletin_steps import follow_day
from tracker.actions.posting import new_message_id
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, NotEnough, WrongState
from tracker.actions.steps import lock_trikes, refresh_due
from tracker.actions.transactions import action
from tracker.models import Appointment, OutboxMessage, OwnerLink, User, Visit
from tracker.queries.appointments import (
    OFFER,
    OPEN,
    bench_on,
    for_bench,
    free_days,
    is_offer,
    open_appointment,
    refused_days,
    words_of,
)
from tracker.queries.clock import local_date

KIND = "appointment"  # of the mail with the answer
BENCH_LOCK = 0x62656E63  # names the lock of a day among the locks of a PostgreSQL database
CHOICES = ("confirm", "decline", "offer")
MOST_WORDS = 300


class DayTaken(Conflict):
    """Somebody else was faster, or the day never had room; `facts` has days that have."""

    code = "day-taken"


class DayClosed(Conflict):
    """The workshop does not work on the day to be confirmed."""

    code = "day-closed"


class AskedAlready(Conflict):
    """One open request per trike."""

    code = "asked-already"


@action
def ask_for_day(*, link: OwnerLink, on: date, note: str = "", now: datetime) -> Appointment:
    """Ask for a day at the bench for the open visit of the link's trike; the desk decides.

    Two who ask for the last room of a day: the later one is refused with days that have room.
    Raises WrongState (nothing due at the bench), AskedAlready, DayTaken.
    """
    lock_trikes([link.trike_id])
    today = local_date(now)
    visit = _visit_for_bench(link.trike_id)
    if open_appointment(link.trike_id, today) is not None:
        raise AskedAlready(
            say("You asked for a day already."), field="on", remedy=say("Withdraw it first to choose another.")
        )
    _end_past(link.trike_id, now)
    _hold(on)
    refused = [row.on for row in refused_days(visit) if not row.answer.startswith(OFFER)]
    free = free_days(visit.minutes, today, but=refused)
    if on not in free:
        raise DayTaken(
            say("{date} has no room at the bench.", date=say_date(on)), field="on",
            remedy=say("Choose one of the days below."),
            days=[day.isoformat() for day in free[:10]],
        )  # fmt: skip
    return Appointment.objects.create(
        trike_id=link.trike_id, owner_id=link.owner_id, visit=visit, on=on, minutes=visit.minutes,
        note=clean_text(note, 400), asked_at=now,
    )  # fmt: skip


def _visit_for_bench(trike_id: int) -> Visit:
    """The open visit with work for the bench. Raises WrongState."""
    visit = Visit.objects.filter(trike_id=trike_id, state=Visit.State.OPEN).prefetch_related("lines").first()
    if visit is None or not for_bench(visit):
        raise WrongState(
            say("Nothing is due at the workshop."), field="on", remedy=say("Call us if something is wrong.")
        )
    return visit


def _end_past(trike_id: int, now: datetime) -> None:
    """What nobody ended before its day went by, or before the work was done, stands in nobody's way any more."""
    rows = Appointment.objects.filter(trike_id=trike_id, state__in=OPEN)
    rows.update(state=Appointment.State.WITHDRAWN, decided_at=now, answer="The day has passed.")


def _hold(day: date) -> None:
    """Let nobody else count the room of that day before this transaction ends. SQLite has one writer at a time anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [BENCH_LOCK, day.toordinal()])


@action
def withdraw(*, link: OwnerLink, now: datetime) -> Appointment:
    """Take back the day that was asked for or agreed. Raises WrongState where there is none."""
    lock_trikes([link.trike_id])
    row = open_appointment(link.trike_id, local_date(now))
    if row is None or row.owner_id != link.owner_id:
        raise WrongState(say("No day is asked for."), field="on", remedy=say("Choose a day below."))
    was_agreed = row.state == Appointment.State.CONFIRMED
    row.state, row.decided_at = Appointment.State.WITHDRAWN, now
    row.save(update_fields=["state", "decided_at"])
    if was_agreed:
        _change_plan(row)
    refresh_due(follow_day(row, now, None), now)
    return row


@action
def decide_appointment(
    *, appointment_id: int, choice: str, answer: str = "", on: date | None = None, by: User | None, now: datetime
) -> Appointment:
    """Confirm a day, decline it with words, or offer another one (`on`); the owner gets a mail with the answer.

    An agreed day can still be declined or another offered: a bench falls ill too. Raises WrongState, FieldInvalid,
    NotEnough (declined without a word), DayClosed (nobody works on the day to confirm), DayTaken (the one offered has no
    room).
    """
    row = Appointment.objects.filter(pk=appointment_id).first()
    if row is None:
        raise Invalid("There is no such request.", field="id", remedy="Look at the list again.")
    lock_trikes([row.trike_id])
    row = Appointment.objects.select_for_update(of=("self",)).select_related("owner", "trike").get(pk=row.pk)
    words = clean_text(answer, MOST_WORDS).strip()
    _check_choice(row, choice, words)
    was_agreed, asked_on = row.state == Appointment.State.CONFIRMED, row.on
    if choice == "offer":
        words = f"{OFFER}{_said(_room_on(row, on, now))} instead of {_said(row.on)}? {words}".strip()
        row.on = on
    row.state = Appointment.State.CONFIRMED if choice == "confirm" else Appointment.State.DECLINED
    row.answer, row.decided_at, row.decided_by = words, now, by
    row.save(update_fields=["on", "state", "answer", "decided_at", "decided_by"])
    if was_agreed or choice == "confirm":
        _change_plan(row)
    _tell_owner(row, asked_on, now)
    refresh_due(follow_day(row, now, by), now)
    return row


def _check_choice(row: Appointment, choice: str, words: str) -> None:
    if choice not in CHOICES:
        raise FieldInvalid(f"'{choice}' is no choice here.", field="choice", remedy=f"Say {', '.join(CHOICES)}.")
    if row.state not in OPEN or (choice == "confirm" and row.state != Appointment.State.ASKED):
        raise WrongState(
            f"This request is {row.get_state_display()}.", field="choice", remedy="There is nothing to decide."
        )
    if choice == "confirm" and not bench_on(row.on, row.on).is_open(row.on):
        raise DayClosed(
            f"The workshop is closed on {say_date(row.on)}.",
            field="choice",
            remedy="Offer another day, or open that one.",
        )
    if choice == "decline" and not words:
        raise NotEnough("Say why, in a few words.", field="answer", remedy="The owner reads it on their page.")


def _room_on(row: Appointment, on: date | None, now: datetime) -> date:
    """The day to offer, if it is another one and has room. Raises FieldInvalid, DayTaken."""
    if on is None or on == row.on:
        raise FieldInvalid("Which other day?", field="on", remedy="Choose the day you offer.")
    bench = bench_on(on, on)
    if on <= local_date(now) or not (bench.is_open(on) and bench.has_room(on, row.minutes)):
        raise DayTaken(f"{say_date(on)} has no room at the bench.", field="on", remedy="Offer another day.", days=[])
    return on


def _said(day: date) -> str:
    return f"{day:%A} {say_date(day)}"


def _change_plan(row: Appointment) -> None:
    """The plan of the visit changed: subscribed calendars take it over (RFC 5545 section 3.8.7.4)."""
    Visit.objects.filter(pk=row.visit_id).update(sequence=F("sequence") + 1)


def _tell_owner(row: Appointment, asked_on: date, now: datetime) -> None:
    """Write the mail with the answer, to be sent outside quiet hours. Who has no address reads it on the page."""
    if not row.owner.email or row.owner.email_dead_at is not None:
        return
    OutboxMessage.objects.create(
        key=f"appointment:{row.pk}:{row.state}", kind=KIND, trike=row.trike, owner=row.owner,
        visit_id=row.visit_id, message_id=new_message_id(), created_at=now, not_before=now,
        payload=_told(row, asked_on),
    )  # fmt: skip


def _told(row: Appointment, asked_on: date) -> dict[str, Any]:
    """The answer as facts: the letter tells them in the owner's language, and after them what the desk wrote."""
    days = {}
    if row.state == Appointment.State.CONFIRMED:
        days = {"agreed_on": row.on.isoformat()}
    elif is_offer(row):
        days = {"offered_on": row.on.isoformat(), "instead_of": asked_on.isoformat()}
    return days | {"paragraphs": [words] if (words := words_of(row)) else []}
