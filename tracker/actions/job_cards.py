"""The job card itself: opened, odometer in, words, cancelled, amended. A draft until signed, then immutable."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models.functions import Length

from services.identity import clean_text
from tracker.actions.card_steps import draft_card, is_new, touch
from tracker.actions.refusals import FieldInvalid, FieldNotChangeable, Invalid, NotEnough, WrongState
from tracker.actions.steps import LogDraft, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.actions.usage import keep_reading
from tracker.models import DueLine, JobCard, JobTask, LogEntry, Trike, User
from tracker.queries.card_texts import reading_text, typed_text
from tracker.queries.clock import local_date

CARD_CHANGES = {"complaint", "cause", "correction", "minutes"}
NUMBER_RACES = 50  # cards opened at the very same moment, one of which wins each number


@action
def open_card(*, trike_id: int, complaint: str = "", by: User | None = None, now: datetime) -> JobCard:
    """Open a draft card; the tasks due now or inside their early window stand on it as proposed.

    Raises WrongState when a card of this trike is open already or the trike was not delivered.
    """
    trike = lock_version(Trike, trike_id, None)
    if trike.state != Trike.State.DELIVERED:
        raise WrongState(f"Trike {trike} is {trike.get_state_display()}.", field="trike", remedy="Hand it over first.")
    other = JobCard.objects.filter(trike=trike, state=JobCard.State.DRAFT).first()
    if other is not None:
        raise WrongState(f"Job card {other} is open for this trike.", field="trike", remedy="Work on that card.")
    card = _numbered_card(now, trike=trike, opened_by=by, complaint=clean_text(complaint, 10_000))
    lines = DueLine.objects.filter(trike=trike).early_by(local_date(now)).order_by("due_on", "pk")
    JobTask.objects.bulk_create(JobTask(card=card, component_id=line.component_id, task=line.task) for line in lines)
    return card


def _numbered_card(now: datetime, **values: Any) -> JobCard:
    """A card under the next free number. The trike's lock does not cover the numbers: a lost race takes the next one."""
    for _ in range(NUMBER_RACES):
        with suppress(IntegrityError), transaction.atomic():
            return JobCard.objects.create(number=_next_number(now), opened_at=now, worked_at=now, **values)
    raise WrongState("Many cards are being opened.", field="card", remedy="Open it again in a moment.")


def _next_number(now: datetime) -> str:
    """The next number of the year: J26-00001. Imported cards bring numbers of other lengths: the longest is the highest."""
    head = f"J{local_date(now):%y}-"
    numbers = JobCard.objects.filter(number__startswith=head, number__regex=r"^J[0-9]+-[0-9]+$")
    last = numbers.order_by(Length("number").desc(), "-number").values_list("number", flat=True).first()
    return f"{head}{(int(last.removeprefix(head)) if last else 0) + 1:05d}"


@action
def take_odometer(
    *, card_id: int, version: int | None = None, value: float, unit: str = "km", by: User | None = None, now: datetime,
    answer: str | None = None, base: str | None = None,
) -> JobCard:  # fmt: skip
    """Record the odometer on the card. A doubtful value is kept as suspect and shown to be decided.

    answer: as in record_reading. base: what the page had loaded, as reading_text tells; with it the same value sent twice
    is one reading, and a value somebody else entered meanwhile raises ChangedMeanwhile. Raises the refusals of record_reading.
    """
    card = draft_card(card_id, version)
    if base is not None and not is_new(reading_text(card.reading), typed_text(value, unit), base, "value"):
        return card
    reading = keep_reading(card.trike, value, unit, now, "job_card", by, now, note=f"job card {card}", answer=answer)
    card.reading = reading
    card.worked_at = now
    touch(card, "reading", "worked_at")
    if reading.verdict == "accepted":
        refresh_due([card.trike_id], now)
    return card


@action
def update_card(
    *, card_id: int, version: int | None, changes: Mapping[str, Any], by: User | None = None, now: datetime
) -> JobCard:
    """Change complaint, cause, correction or minutes of a draft. Raises StaleVersion, CardAlreadySigned, FieldInvalid."""
    card = draft_card(card_id, version)
    for name, value in changes.items():
        if name not in CARD_CHANGES:
            raise FieldNotChangeable(f"'{name}' cannot be changed.", field=name, remedy="Use the card's own sections.")
        if name == "minutes":
            if not isinstance(value, int) or not 0 <= value <= 6_000:
                raise FieldInvalid("Minutes lie between 0 and 6,000.", field="minutes", remedy="Check the value.")
            card.minutes = value
        else:
            setattr(card, name, clean_text(value, 10_000))
    return touch(card, *changes)


@action
def cancel_card(*, card_id: int, version: int | None, by: User | None = None, now: datetime) -> JobCard:
    """Cancel a draft. Its odometer reading stays. Raises CardAlreadySigned, StaleVersion."""
    card = draft_card(card_id, version)
    card.state = JobCard.State.CANCELLED
    return touch(card, "state")


@action
def amend_card(*, card_id: int, text: str, by: User, now: datetime) -> LogEntry:
    """Write an amendment to a signed card: a new entry that points at the signature it corrects.

    Raises WrongState while the card is a draft, NotEnough for an empty text.
    """
    card = lock_version(JobCard, card_id, None)
    if card.state != JobCard.State.SIGNED:
        raise WrongState(f"Job card {card} is not signed.", field="card", remedy="Change the draft itself.")
    words = clean_text(text, 4_000).strip()
    if not words:
        raise NotEnough("The amendment is empty.", field="text", remedy="Say what is corrected and why.")
    signed = next(
        (
            e
            for e in LogEntry.objects.filter(trike_id=card.trike_id, kind="job_card_signed")
            if e.body["card"] == card.number
        ),
        None,
    )
    if signed is None:
        raise Invalid("The card has no entry in the logbook.", field="card", remedy="Verify the logbook.")
    draft = LogDraft(
        card.trike_id, "amendment", now, {"card": card.number, "text": words}, None, by.pk, "desk", signed.pk
    )
    return write_logs([draft], now)[0]
