"""The dispatcher: claims one message, looks once more whether it is still wanted, sends it, marks it.

What is certain: a message is claimed by one dispatcher only, and nothing inside the database happens twice. What no
program can have: mail sent exactly once. A crash between sending and marking leaves the row `sending`; when its lease
has run out a routine reminder is shown at the desk as 'unknown: sent or not?' and a safety notice goes out again with
the same Message-ID.
"""

import random
from datetime import datetime, timedelta

import structlog
from django.conf import settings
from django.db import connection, transaction
from django.db.models import F

from tracker.actions.appointments import KIND as APPOINTMENT
from tracker.actions.bulletin_notices import SAFETY, follow_letter, not_wanted
from tracker.actions.found import TO_DESK, write_desk_letter
from tracker.actions.letters import Links, write_letter
from tracker.actions.link_steps import mint_link
from tracker.actions.posting import Channel, Delivery, Letter, Outcome, address_mark
from tracker.actions.refusals import FieldInvalid, Invalid, WrongState
from tracker.actions.reminder_messages import QUESTION, REMINDER, SNOOZED
from tracker.actions.transactions import action
from tracker.language import in_language
from tracker.models import OutboxMessage, Owner, User, Visit
from tracker.queries.appointments import has_agreed_day
from tracker.queries.asking import read_days
from tracker.queries.clock import day_of, local_date
from tracker.queries.owner_hours import may_arrive, snooze_end
from tracker.queries.reminders import bare_view, lines_of_visit, may_write_to, owner_today, owner_view, owns, still_due
from tracker.queries.summaries import SUMMARY

State = OutboxMessage.State
ASKED_FOR = {SUMMARY, APPOINTMENT}  # single mails that their owner waits for
LEASE = timedelta(minutes=10)  # longer than a slow mail server and a busy database together
MOST_ATTEMPTS = 6
FIRST_WAIT = timedelta(minutes=5)  # then four times as long each time: 20 min, 80 min, 5 h 20, 21 h
NOTE_LENGTH = 400
UNREACHED = "No mail address of the owner works: tell them by telephone."  # a safety notice stays on the desk's list

log = structlog.get_logger(__name__)


def dispatch_one(*, channel: Channel, now: datetime, rng: random.Random) -> Outcome | State | None:
    """Deal with the message that has waited longest; return what became of it, None when none waits.

    Three short transactions (claim, look again and write, mark); the sending itself happens outside of any.
    """
    message = _claim(now)
    if message is None:
        return None
    letter = _prepare(message, now)
    if letter is None:
        message.refresh_from_db(fields=["state"])
        return State(message.state)
    delivery = channel.send(letter)
    _mark(message, delivery, now, rng)
    log.info("message", key=message.key, outcome=delivery.outcome, attempt=message.attempts)
    return delivery.outcome


@transaction.atomic(durable=True)
def _claim(now: datetime) -> OutboxMessage | None:
    """Take the message that has waited longest. Of two dispatchers, one gets it: the other takes the next.

    PostgreSQL passes over rows that another holds; on SQLite, and in any case, the guarded UPDATE decides.
    """
    waiting = OutboxMessage.objects.filter(state=State.WAITING, not_before__lte=now).order_by("not_before", "pk")
    if connection.features.has_select_for_update_skip_locked:
        waiting = waiting.select_for_update(skip_locked=True, of=("self",))
    for pk in waiting.values_list("pk", flat=True)[:5]:
        taken = OutboxMessage.objects.filter(pk=pk, state=State.WAITING).update(
            state=State.SENDING, lease_until=now + LEASE, attempts=F("attempts") + 1
        )
        if taken:
            return OutboxMessage.objects.select_related("trike", "owner", "visit").get(pk=pk)
    return None


@transaction.atomic(durable=True)
def _prepare(message: OutboxMessage, now: datetime) -> Letter | None:
    """Look once more whether the message is wanted, then write it with fresh links. None: it does not go out now."""
    reason = _unwanted(message, now)
    if reason:
        _end(message, now, state=State.FAILED if reason == UNREACHED else State.DROPPED, last_error=reason)
        return None
    allowed = _allowed(message, now)
    if allowed > now:  # it waited for a dispatcher until the quiet hours began
        _settle(message, state=State.WAITING, not_before=allowed, attempts=message.attempts - 1)
        return None
    try:
        with transaction.atomic():
            return _written(message, now)
    except Exception as error:  # one letter that cannot be written must not stop the next
        log.exception("letter could not be written", key=message.key)
        _end(message, now, state=State.FAILED, last_error=f"The letter could not be written: {error}")
        return None


def _written(message: OutboxMessage, now: datetime) -> Letter:
    if message.kind in TO_DESK:
        return write_desk_letter(message, now)
    return _to_owner(message, _links(message, now), now)


def _to_owner(message: OutboxMessage, links: Links, now: datetime) -> Letter:
    view = bare_view if message.kind == SAFETY else owner_view
    with in_language(message.owner.language):
        return write_letter(message, view(message.trike, message.owner, now), links, now)


def preview(message: OutboxMessage, now: datetime) -> tuple[bytes, str]:
    """Return (the mail to an owner as it would be written now, why it would not go out). Writes nothing.

    One of them is empty. Its links open nothing: real ones are made when it is sent.
    """
    if message.kind in TO_DESK or message.state in {State.SENT, State.DROPPED}:
        return b"", ""
    reason = _unwanted(message, now)
    if reason:
        return b"", reason
    stop = "" if message.kind in ASKED_FOR else f"{settings.PUBLIC_URL}/o/stop/"
    try:
        return _to_owner(message, Links(page=f"{settings.PUBLIC_URL}/o/", stop=stop), now).content, ""
    except Exception as error:
        log.exception("letter could not be previewed", key=message.key)
        return b"", f"The letter cannot be written: {error}"


def _unwanted(message: OutboxMessage, now: datetime) -> str:
    """Why the message should not go out any more, or an empty text."""
    if message.kind in TO_DESK:  # to the desk itself
        return ""
    owner = Owner.objects.filter(pk=message.owner_id).first()
    message.owner = owner
    if owner is None or message.trike_id is None or not owns(owner.pk, message.trike_id):
        return "The trike has another owner now."
    if message.kind == SAFETY:
        return not_wanted(message) or ("" if owner.email and owner.email_dead_at is None else UNREACHED)
    if message.kind in ASKED_FOR:
        return "" if owner.email and owner.email_dead_at is None else "The owner's mail address does not work."
    return _no_reminder(message, owner, now)


def _no_reminder(message: OutboxMessage, owner: Owner, now: datetime) -> str:
    """Why a routine reminder should not go out any more, or an empty text."""
    if not may_write_to(owner):
        return "The owner gets no reminders by mail."
    if message.trike.stolen_on is not None:
        return "The trike is reported stolen."
    return _no_question(message) if message.kind == QUESTION else _no_visit(message, owner, now)


def _no_question(message: OutboxMessage) -> str:
    """Why nobody needs to be asked for a reading any more, or an empty text."""
    read_on = read_days([message.trike_id]).get(message.trike_id)
    is_answered = read_on is not None and read_on > day_of(message.created_at)
    return "The display was read meanwhile." if is_answered else ""


def _no_visit(message: OutboxMessage, owner: Owner, now: datetime) -> str:
    """Why the visit a reminder speaks of is not to be spoken of any more, or an empty text."""
    if message.visit is None or message.visit.state != Visit.State.OPEN:
        return "The visit is done or no longer needed."
    if has_agreed_day(message.trike_id, local_date(now)):
        return "A day is agreed."
    if not still_due(lines_of_visit(message.visit), owner_today(owner, now)):
        return "Nothing of it is due any more."
    return ""


def _allowed(message: OutboxMessage, now: datetime) -> datetime:
    """The next moment this message may arrive: safety notices, summaries and words to the desk keep no quiet hours.

    A reminder that its owner snoozed meanwhile waits for the end of the snooze; the answer to a day asked for does not.
    """
    if message.kind in {SAFETY, SUMMARY, *TO_DESK}:
        return now
    visit = message.visit if message.kind == REMINDER and message.stage != SNOOZED else None
    return may_arrive(message.owner, snooze_end(visit, message.owner, now))


def _links(message: OutboxMessage, now: datetime) -> Links:
    _, page = mint_link(message.trike_id, message.owner_id, "page", now)
    if message.kind in ASKED_FOR:  # asked for, not a list to get off
        return Links(page=f"{settings.PUBLIC_URL}/o/{page}", stop="")
    _, stop = mint_link(message.trike_id, message.owner_id, "stop", now)
    return Links(page=f"{settings.PUBLIC_URL}/o/{page}", stop=f"{settings.PUBLIC_URL}/o/stop/{stop}")


@transaction.atomic(durable=True)
def _mark(message: OutboxMessage, delivery: Delivery, now: datetime, rng: random.Random) -> None:
    """Write down what became of the letter."""
    note = delivery.note[:NOTE_LENGTH]
    if delivery.outcome is Outcome.SENT:
        told = {} if message.kind in TO_DESK else {**message.payload, "to": address_mark(message.owner)}
        # of words to the desk nothing stays: they stand in the mail alone
        _end(message, now, state=State.SENT, sent_at=now, file_name=delivery.file_name, last_error="", payload=told)
    elif delivery.outcome is Outcome.LATER and message.attempts < MOST_ATTEMPTS:
        again = now + wait_after(message.attempts, rng)
        _settle(message, state=State.WAITING, not_before=_allowed(message, again), last_error=note)
    elif delivery.outcome is Outcome.UNKNOWN:
        _settle_unknown(message, note, now)
    else:
        _end(message, now, state=State.FAILED, last_error=note)
    if delivery.outcome is Outcome.DEAD and message.owner is not None:
        Owner.objects.filter(pk=message.owner_id, email=message.owner.email, email_dead_at__isnull=True).update(
            email_dead_at=now, version=F("version") + 1
        )


def _settle_unknown(message: OutboxMessage, note: str, now: datetime) -> None:
    """Safety notices go out again under the same Message-ID, a person decides about anything else."""
    if message.kind == SAFETY and message.attempts < MOST_ATTEMPTS:
        _settle(message, state=State.WAITING, not_before=now + FIRST_WAIT, last_error=note)
    else:
        _settle(message, state=State.UNKNOWN, last_error=note)


def _end(message: OutboxMessage, now: datetime, **values) -> None:
    """Write what became of a message for good; the parts of a bulletin follow the notice about them."""
    if _settle(message, **values) and values["state"] in {State.SENT, State.FAILED}:
        follow_letter(message, reached=values["state"] == State.SENT, now=now)


def _settle(message: OutboxMessage, **values) -> bool:
    """Write the end of a claim, unless somebody else has claimed the message since; return whether it was written."""
    if "last_error" in values:
        values["last_error"] = values["last_error"][:NOTE_LENGTH]
    rows = OutboxMessage.objects.filter(
        pk=message.pk, state__in=[State.SENDING, State.UNKNOWN], lease_until=message.lease_until
    )
    return bool(rows.update(**values))


def wait_after(attempts: int, rng: random.Random) -> timedelta:
    """Return how long to wait after `attempts` tries: four times as long each time, half of it by chance.

    The chance keeps a hundred letters from knocking together when the mail server is back.
    """
    return FIRST_WAIT * 4 ** (attempts - 1) * rng.uniform(0.5, 1.0)


@action
def settle_lost(*, now: datetime) -> int:
    """Find messages whose dispatcher died between claim and mark; return how many.

    Routine ones become 'unknown: sent or not?'. Safety notices wait again and will go out with the same Message-ID.
    """
    lost = OutboxMessage.objects.filter(state=State.SENDING, lease_until__lt=now)
    note = "The dispatcher stopped while sending."
    safety = lost.filter(kind=SAFETY).update(state=State.WAITING, not_before=now, last_error=note)
    return safety + lost.exclude(kind=SAFETY).update(state=State.UNKNOWN, last_error=note)


@action
def retry_message(*, message_id: int, by: User | None, now: datetime) -> OutboxMessage:
    """Send a failed message again: it waits as if it were new. Raises WrongState for any other."""
    message = _held(message_id)
    if message.state != State.FAILED:
        raise WrongState(
            f"This message is {message.get_state_display()}.", field="state", remedy="Only failed ones are sent again."
        )
    return _send_again(message, "retry", by, now)


@action
def resolve_unknown(*, message_id: int, choice: str, by: User | None, now: datetime) -> OutboxMessage:
    """Decide about a message of which nobody knows whether it went out: 'sent', 'send_again' or 'drop'.

    Raises WrongState, FieldInvalid.
    """
    message = _held(message_id)
    if message.state != State.UNKNOWN:
        raise WrongState(
            f"This message is {message.get_state_display()}.", field="state", remedy="There is nothing to decide."
        )
    if choice == "send_again":
        return _send_again(message, choice, by, now)
    if choice not in {"sent", "drop"}:
        raise FieldInvalid(f"'{choice}' is no choice here.", field="choice", remedy="Say sent, send_again or drop.")
    message.state = State.SENT if choice == "sent" else State.DROPPED
    message.sent_at = now if choice == "sent" else None
    return _decided(message, choice, by, now)


def _held(message_id: int) -> OutboxMessage:
    message = OutboxMessage.objects.select_for_update(of=("self",)).filter(pk=message_id).first()
    if message is None:
        raise Invalid("There is no such message.", field="id", remedy="Look at the list again.")
    return message


def _send_again(message: OutboxMessage, choice: str, by: User | None, now: datetime) -> OutboxMessage:
    message.state, message.attempts, message.lease_until = State.WAITING, 0, None
    message.owner = Owner.objects.filter(pk=message.owner_id).first()
    message.not_before = _allowed(message, now)
    return _decided(message, choice, by, now)


def _decided(message: OutboxMessage, choice: str, by: User | None, now: datetime) -> OutboxMessage:
    """Keep who decided what and when, beside the message."""
    decision = {"choice": choice, "by": by.pk if by else None, "at": now.isoformat()}
    ended = message.kind in TO_DESK and message.state != State.WAITING
    message.payload = {
        **({} if ended else message.payload),
        "decisions": [*message.payload.get("decisions", []), decision],
    }
    message.save(update_fields=["state", "attempts", "lease_until", "not_before", "sent_at", "payload"])
    return message
