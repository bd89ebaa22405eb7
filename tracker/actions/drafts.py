"""One field of a draft card, kept as it is typed. What somebody else wrote meanwhile is never overwritten unseen.

`base` is what the page had loaded. A field whose stored value is neither `base` nor the new value was changed by somebody
else: ChangedMeanwhile tells what stands there. Different fields never collide, and the same request twice changes nothing.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from services.identity import clean_text
from tracker.actions.bench import write_measurement
from tracker.actions.card_steps import draft_card, is_new, touch
from tracker.actions.refusals import FieldInvalid, FieldNotChangeable, NotEnough
from tracker.actions.transactions import action
from tracker.models import Component, JobCard, JobTask, Measurement, Swap, User
from tracker.queries.card_texts import measured_text

LONG, LONGEST_JOB = 10_000, 6_000
WORDS = ("complaint", "cause", "correction")
FATES = set(Component.State.values) - {Component.State.FITTED.value}


@action
def keep_words(*, card_id: int, field: str, value: str, base: str, by: User | None = None, now: datetime) -> JobCard:
    """Keep complaint, cause, correction (text) or minutes (digits). Raises ChangedMeanwhile, FieldInvalid, BadText."""
    card = draft_card(card_id)
    if field == "minutes":
        text = value.strip() or "0"
        if not (text.isascii() and text.isdigit() and int(text) <= LONGEST_JOB):
            raise FieldInvalid("Minutes lie between 0 and 6,000.", field="minutes", remedy="Write a whole number.")
        value, base = str(int(text)), base.strip() or "0"
    elif field in WORDS:
        value = clean_text(_lines(value), LONG)
    else:
        raise FieldNotChangeable(f"'{field}' cannot be changed.", field=field, remedy="Use the card's own sections.")
    if not is_new(str(getattr(card, field)), value, _lines(base), field):
        return card
    setattr(card, field, int(value) if field == "minutes" else value)
    return touch(card, field)


def _lines(text: str) -> str:
    """A form sends its line ends as CR LF, a script as LF."""
    return text.replace("\r\n", "\n").strip()


@action
def keep_task(
    *, card_id: int, component_id: int, task: str, field: str, value: str, base: str, by: User | None = None,
    now: datetime,
) -> JobTask:  # fmt: skip
    """Keep what came of a task on the card (outcome) or its note. Raises ChangedMeanwhile, NotEnough."""
    card = draft_card(card_id)
    row = JobTask.objects.filter(card=card, component_id=component_id, task=task).first()
    if row is None:
        raise NotEnough("This task is no longer on the card.", field="task", remedy="Add it again.")
    if field == "outcome" and value not in JobTask.Outcome.values:
        raise FieldInvalid(f"'{value}' is no outcome.", field="outcome", remedy="Use proposed, done or deferred.")
    if field not in {"outcome", "note"}:
        raise FieldNotChangeable(f"'{field}' cannot be changed.", field=field, remedy="Outcome and note can be.")
    value = clean_text(value, 400)
    if is_new(getattr(row, field), value, base.strip(), field):
        setattr(row, field, value)
        row.save(update_fields=[field])
        touch(card)
    return row


@action
def keep_measurement(
    *, card_id: int, component_id: int, quantity_code: str, value: float | None, unit: str = "",
    context: Mapping[str, Any] | None = None, instrument: str = "", base: str, by: User | None = None, now: datetime,
) -> Measurement | JobCard:  # fmt: skip
    """Keep a measured value with what is noted beside it, as one; no value takes it off, and the card is returned.

    base: as measured_text tells. Raises the refusals of record_measurement and ChangedMeanwhile.
    """
    card = draft_card(card_id)
    row = Measurement.objects.filter(card=card, component_id=component_id, quantity=quantity_code).first()
    made = None
    if value is not None:
        made = write_measurement(
            card, component_id, quantity_code, value, unit, context or {}, instrument, now, save=False
        )
    if is_new(measured_text(row) if row else "", measured_text(made) if made else "", base, "value"):
        if made is None:
            row.delete()
            return touch(card)
        made.pk = row.pk if row else None
        made.save()
        touch(card)
        return made
    return row or card


@action
def keep_swap(
    *, card_id: int, position: str, field: str, value: str, base: str, by: User | None = None, now: datetime
) -> Swap:
    """Keep where the old part of a planned swap goes (fate), or why (reason). Raises ChangedMeanwhile, NotEnough."""
    card = draft_card(card_id)
    row = Swap.objects.filter(card=card, position=position).first()
    if row is None:
        raise NotEnough("This swap is no longer planned.", field="swap", remedy="Scan the new serial again.")
    if field == "fate" and (value not in FATES or row.old_component_id is None):
        raise FieldInvalid("Say where the old part goes.", field="fate", remedy="Choose from the list.")
    if field not in {"fate", "reason"}:
        raise FieldNotChangeable(f"'{field}' cannot be changed.", field=field, remedy="Fate and reason can be.")
    value = clean_text(value, 200)
    if is_new(getattr(row, field), value, base.strip(), field):
        setattr(row, field, value)
        row.save(update_fields=[field])
        touch(card)
    return row
