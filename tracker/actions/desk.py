"""The job card: open, odometer in, tasks, measurements, swaps, failures, sign. A draft until signed, then immutable."""

import math
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from services.failures import check_failure
from services.identity import canonical_serial, clean_text
from services.intervals import covered_tasks
from services.kinds import all_tasks, includes_map, judge, quantity
from services.kinds import task as task_of
from services.positions import POSITIONS, check_position
from services.units import to_kpa
from tracker.actions.refusals import (
    CardAlreadySigned,
    ComponentNotUsable,
    FieldInvalid,
    FieldNotChangeable,
    Invalid,
    NotEnough,
    NotThisTrike,
    PositionTaken,
    RemovedBeforeFitted,
    SerialAlreadyFitted,
    StaleVersion,
    UnknownQuantity,
    UnknownSerial,
    UnknownTask,
    WrongState,
)
from tracker.actions.steps import LogDraft, component_of_trike, lock_version, refresh_due, serial_words, write_logs
from tracker.actions.transactions import action
from tracker.models import (
    Completion,
    Component,
    DueLine,
    Failure,
    Fitment,
    JobCard,
    JobTask,
    LogEntry,
    Measurement,
    Swap,
    Trike,
    User,
    Visit,
)
from tracker.queries.cards import known_beside, set_up_of
from tracker.queries.clock import local_date

CARD_CHANGES = {"complaint", "cause", "correction", "minutes"}
NUMBER_RACES = 50  # cards opened at the very same moment, one of which wins each number
FITTABLE = {Component.State.IN_STOCK, Component.State.RETURNED}


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
    """The next number of the year: J26-00001."""
    head = f"J{local_date(now):%y}-"
    last = JobCard.objects.filter(number__startswith=head).order_by("-number").values_list("number", flat=True).first()
    return f"{head}{(int(last.removeprefix(head)) if last else 0) + 1:05d}"


def _draft_card(card_id: int, version: int | None = None) -> JobCard:
    card = lock_version(JobCard, card_id, None)
    if card.state == JobCard.State.SIGNED:
        raise CardAlreadySigned(
            f"Job card {card} was signed by {card.signed_by} on {card.signed_at:%d %b %Y %H:%M}.", field="card",
            remedy="Write an amendment.",
        )  # fmt: skip
    if card.state == JobCard.State.CANCELLED:
        raise WrongState(f"Job card {card} was cancelled.", field="card", remedy="Open a new card.")
    if version is not None and card.version != version:
        raise StaleVersion(
            "Somebody else changed this card in the meantime.", field="version",
            remedy="Look at what changed, then send your change again.",
        )  # fmt: skip
    return card


def _touch(card: JobCard, *fields: str) -> JobCard:
    card.version += 1
    card.save(update_fields=[*fields, "version"])
    return card


@action
def take_odometer(
    *, card_id: int, version: int | None = None, value: float, unit: str = "km", by: User | None = None, now: datetime,
    answer: str | None = None,
) -> JobCard:  # fmt: skip
    """Record the odometer on the card. A doubtful value is kept as suspect and shown to be decided.

    answer: as in record_reading. Raises the refusals of record_reading.
    """
    from tracker.actions.usage import keep_reading

    card = _draft_card(card_id, version)
    reading = keep_reading(card.trike, value, unit, now, "job_card", by, now, note=f"job card {card}", answer=answer)
    card.reading = reading
    card.worked_at = now
    _touch(card, "reading", "worked_at")
    if reading.verdict == "accepted":
        refresh_due([card.trike_id], now)
    return card


@action
def update_card(
    *, card_id: int, version: int | None, changes: Mapping[str, Any], by: User | None = None, now: datetime
) -> JobCard:
    """Change complaint, cause, correction or minutes of a draft. Raises StaleVersion, CardAlreadySigned, FieldInvalid."""
    card = _draft_card(card_id, version)
    for name, value in changes.items():
        if name not in CARD_CHANGES:
            raise FieldNotChangeable(f"'{name}' cannot be changed.", field=name, remedy="Use the card's own sections.")
        if name == "minutes":
            if not isinstance(value, int) or not 0 <= value <= 6_000:
                raise FieldInvalid("Minutes lie between 0 and 6,000.", field="minutes", remedy="Check the value.")
            card.minutes = value
        else:
            setattr(card, name, clean_text(value, 10_000))
    return _touch(card, *changes)


def _fitted_here(card: JobCard, component_id: int) -> Fitment:
    fitment = component_of_trike(component_id, card.trike_id)
    if fitment is None:
        raise NotThisTrike(
            f"This component does not sit on trike {card.trike}.",
            field="component",
            remedy="Choose one of its components.",
        )
    return fitment


@action
def set_task(
    *, card_id: int, component_id: int, task: str, outcome: str, note: str = "", by: User | None = None, now: datetime
) -> JobTask:
    """Put a task on the card, or say what came of it: proposed, done, deferred. Raises UnknownTask, NotThisTrike."""
    card = _draft_card(card_id)
    fitment = _fitted_here(card, component_id)
    known = {t.code: t for t in all_tasks()}
    if task not in known or known[task].on != fitment.component.part_type.kind:
        raise UnknownTask(
            f"'{task}' is no task of a {fitment.component.part_type.get_kind_display()}.", field="task",
            remedy="Choose a task of this component.",
        )  # fmt: skip
    if outcome not in JobTask.Outcome.values:
        raise FieldInvalid(f"'{outcome}' is no outcome.", field="outcome", remedy="Use proposed, done or deferred.")
    row, _ = JobTask.objects.update_or_create(
        card=card, component_id=component_id, task=task, defaults={"outcome": outcome, "note": clean_text(note, 400)}
    )
    _touch(card)
    return row


@action
def drop_task(*, card_id: int, component_id: int, task: str, by: User | None = None, now: datetime) -> JobCard:
    """Take a task off a draft card."""
    card = _draft_card(card_id)
    JobTask.objects.filter(card=card, component_id=component_id, task=task).delete()
    return _touch(card)


@action
def record_measurement(
    *, card_id: int, component_id: int, quantity_code: str, value: float, unit: str = "",
    context: Mapping[str, Any] | None = None, instrument: str = "", by: User | None = None, now: datetime,
) -> Measurement:  # fmt: skip
    """Record a measured value; its meaning in words comes from the service kind. Measured again, it replaces the draft.

    Where nobody says what a shock was set to, the pressure of the handover counts.

    Raises UnknownQuantity, NotThisTrike, ImpossibleMeasurement (naming the plausible range), FieldInvalid.
    """
    card = _draft_card(card_id)
    fitment = _fitted_here(card, component_id)
    known = _quantity_of(fitment, quantity_code)
    extra = known_beside(known, set_up_of(card.trike_id))
    extra |= {name: _number(number, name) for name, number in (context or {}).items()}
    stored = in_stored_unit(_number(value, "value"), unit, known.unit)
    verdict = judge(quantity_code, stored, rated=fitment.component.part_type.rated, context=extra)
    row, _ = Measurement.objects.update_or_create(
        card=card, component_id=component_id, quantity=quantity_code,
        defaults={"value": stored, "context": extra, "instrument": clean_text(instrument, 80),
                  "level": verdict.level, "words": verdict.words[:200], "taken_at": now},
    )  # fmt: skip
    _touch(card)
    return row


def _quantity_of(fitment: Fitment, code: str) -> Any:
    kind = fitment.component.part_type.kind
    asked = {q for task in all_tasks() if task.on == kind for q in task.asks}
    if code not in asked:
        raise UnknownQuantity(
            f"'{code}' is not measured on a {fitment.component.part_type.get_kind_display()}.", field="quantity",
            remedy=f"What is: {', '.join(sorted(asked)) or 'nothing'}.",
        )  # fmt: skip
    return quantity(code)


def _number(value: Any, field: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise FieldInvalid(f"{field} must be a number.", field=field, remedy="Enter digits with one decimal point.")
    return float(value)


def in_stored_unit(value: float, unit: str, stored: str) -> float:
    """Return `value` in the quantity's own unit. Raises FieldInvalid for a unit that does not fit."""
    if not unit or unit == stored:
        return value
    if stored == "kPa" and unit in {"psi", "bar"}:
        return float(to_kpa(value, unit))
    raise FieldInvalid(f"This is measured in {stored}, not in {unit}.", field="unit", remedy=f"Use {stored}.")


@action
def plan_swap(
    *, card_id: int, position: str, old_serial: str = "", new_serial: str = "", fate: str = "", reason: str = "",
    by: User | None = None, now: datetime,
) -> Swap:  # fmt: skip
    """Plan old serial -> new serial at a position; it is carried out when the card is signed.

    Raises UnknownSerial, NotThisTrike, SerialAlreadyFitted, ComponentNotUsable, PositionTaken, WrongPosition, FieldInvalid.
    """
    card = _draft_card(card_id)
    if position not in POSITIONS:
        raise FieldInvalid(f"'{position}' is no position.", field="position", remedy="Choose from the list.")
    if position == "frame":
        raise FieldInvalid(
            "The frame is the trike's identity.", field="position", remedy="Register a new trike instead."
        )
    held = (
        Fitment.objects.current().filter(trike_id=card.trike_id, position=position).select_related("component").first()
    )
    old = _old_component(card, position, held, old_serial)
    new = _new_component(card, position, new_serial) if new_serial else None
    if old is None and new is None:
        raise NotEnough("The swap moves nothing.", field="new_serial", remedy="Scan the new serial.")
    if old is not None and (fate not in Component.State.values or fate == Component.State.FITTED):
        raise FieldInvalid(
            f"Say where {serial_words(old)} goes.", field="fate", remedy="In stock, quarantined, returned or scrapped."
        )
    row, _ = Swap.objects.update_or_create(
        card=card, position=position,
        defaults={"old_component": old, "new_component": new, "fate": fate if old else "",
                  "reason": clean_text(reason, 200)},
    )  # fmt: skip
    _touch(card)
    return row


def _old_component(card: JobCard, position: str, held: Fitment | None, old_serial: str) -> Component | None:
    if held is None:
        if old_serial:
            raise NotThisTrike(
                f"{POSITIONS[position].title} is empty.", field="old_serial", remedy="Leave the old serial blank."
            )
        return None
    if old_serial and canonical_serial(old_serial) not in {held.component.serial, held.component.batch.upper()}:
        raise NotThisTrike(
            f"{POSITIONS[position].title} of {card.trike} holds {serial_words(held.component)}, "
            f"not {canonical_serial(old_serial)}.",
            field="old_serial", remedy="Scan the old part again, or correct the record first.",
        )  # fmt: skip
    return held.component


def _new_component(card: JobCard, position: str, serial: str) -> Component:
    row = Component.objects.filter(serial=canonical_serial(serial)).select_related("part_type").first()
    if row is None:
        raise UnknownSerial(
            f"No component has the serial {canonical_serial(serial)}.", field="new_serial",
            remedy="Take it into stock first, or scan again.",
        )  # fmt: skip
    check_position(position, row.part_type.kind)
    held = Fitment.objects.current().filter(component=row).select_related("trike").first()
    if held is not None:
        raise SerialAlreadyFitted(
            f"{serial_words(row)} sits on trike {held.trike} at {POSITIONS[held.position].title}.", field="new_serial",
            remedy="Take it off there first.", trike=held.trike.frame_serial, position=held.position,
        )  # fmt: skip
    if row.state not in FITTABLE:
        raise ComponentNotUsable(
            f"{serial_words(row)} is {row.get_state_display()}.",
            field="new_serial",
            remedy="Choose a piece from stock.",
        )
    return row


@action
def drop_swap(*, card_id: int, position: str, by: User | None = None, now: datetime) -> JobCard:
    """Take a planned swap off a draft card."""
    card = _draft_card(card_id)
    Swap.objects.filter(card=card, position=position).delete()
    return _touch(card)


@action
def record_failure(
    *, card_id: int, component_id: int, mode: str, cause: str = "", found: str = "", warranty: bool = False,
    note: str = "", by: User | None = None, now: datetime,
) -> Failure:  # fmt: skip
    """Record that a component failed. Raises NotThisTrike, BadFailureCode."""
    card = _draft_card(card_id)
    _fitted_here(card, component_id)
    check_failure(mode, cause, found)
    row, _ = Failure.objects.update_or_create(
        card=card, component_id=component_id,
        defaults={"trike_id": card.trike_id, "mode": mode, "cause": cause, "found": found, "warranty": warranty,
                  "happened_at": now, "note": clean_text(note, 400)},
    )  # fmt: skip
    _touch(card)
    return row


@action
def sign_card(*, card_id: int, version: int | None, by: User, now: datetime) -> JobCard:
    """Sign: swaps are carried out, work is written to the logbook, the due list moves, the open visit closes.

    Raises CardAlreadySigned, StaleVersion, NotEnough (no odometer, nothing done), the refusals of plan_swap if
    the world changed since.
    """
    card = _draft_card(card_id, version)
    _check_ready(card)
    worked_at = card.worked_at
    drafts = _carry_out_swaps(card, worked_at, by)
    drafts += _complete_tasks(card, worked_at, by, now)
    drafts += _told(card, worked_at, by)
    card.state, card.signed_at, card.signed_by = JobCard.State.SIGNED, now, by
    _touch(card, "state", "signed_at", "signed_by")
    write_logs([*drafts, _card_entry(card, worked_at, by)], now)
    refresh_due([card.trike_id], now)
    _close_visit(card, now)
    return card


def _check_ready(card: JobCard) -> None:
    if card.reading is None:
        raise NotEnough("The odometer is missing.", field="odometer", remedy="Enter what the display shows.")
    if card.reading.verdict == "suspect":
        raise NotEnough("The odometer reading is in doubt.", field="odometer", remedy="Decide it first.")
    done = card.tasks.filter(outcome=JobTask.Outcome.DONE).exists()
    if not (done or card.measurements.exists() or card.swaps.exists() or card.correction.strip()):
        raise NotEnough(
            "The card records no work.", field="tasks", remedy="Tick what was done or write the correction."
        )


def _carry_out_swaps(card: JobCard, at: datetime, by: User) -> list[LogDraft]:
    drafts = []
    swaps = card.swaps.select_related("old_component__part_type", "new_component__part_type").order_by("pk")
    for swap in swaps:
        if swap.old_component is not None:
            drafts.append(_take_off(card, swap, at, by))
        if swap.new_component is not None:
            drafts.append(_put_on(card, swap, at, by))
    return drafts


def _take_off(card: JobCard, swap: Swap, at: datetime, by: User) -> LogDraft:
    old = swap.old_component
    fitment = Fitment.objects.current().filter(trike_id=card.trike_id, position=swap.position, component=old).first()
    if fitment is None:
        raise NotThisTrike(
            f"{serial_words(old)} is no longer at {POSITIONS[swap.position].title}.",
            field="swaps",
            remedy="Plan it again.",
        )
    if at <= fitment.fitted_at:
        raise RemovedBeforeFitted(
            f"{serial_words(old)} was fitted on {fitment.fitted_at:%d %b %Y %H:%M}, after this card's odometer was read.",
            field="swaps", remedy="Take the odometer again, then sign.",
        )  # fmt: skip
    fitment.removed_at, fitment.fate, fitment.removal_reason = at, swap.fate, swap.reason
    fitment.save(update_fields=["removed_at", "fate", "removal_reason"])
    old.state = swap.fate
    old.version += 1
    old.save(update_fields=["state", "version"])
    body = {"serial": serial_words(old), "position": swap.position, "fate": swap.fate, "reason": swap.reason,
            "card": card.number}  # fmt: skip
    return LogDraft(card.trike_id, "removed", at, body, old.pk, by.pk, "job_card")


def _put_on(card: JobCard, swap: Swap, at: datetime, by: User) -> LogDraft:
    new = _new_component(card, swap.position, swap.new_component.serial)
    if Fitment.objects.current().filter(trike_id=card.trike_id, position=swap.position).exists():
        raise PositionTaken(f"{POSITIONS[swap.position].title} is taken.", field="swaps", remedy="Plan the swap again.")
    try:
        with transaction.atomic():
            Fitment.objects.create(component=new, trike_id=card.trike_id, position=swap.position, fitted_at=at)
    except IntegrityError as error:
        raise SerialAlreadyFitted(
            f"{serial_words(new)} was fitted elsewhere a moment ago.", field="swaps", remedy="Choose another piece."
        ) from error
    new.state = Component.State.FITTED
    new.version += 1
    new.save(update_fields=["state", "version"])
    body = {"serial": serial_words(new), "position": swap.position, "card": card.number}
    return LogDraft(card.trike_id, "fitted", at, body, new.pk, by.pk, "job_card")


def _complete_tasks(card: JobCard, at: datetime, by: User, now: datetime) -> list[LogDraft]:
    """Write a completion for each task done and, with `via`, for each smaller one it includes on this trike."""
    done = list(card.tasks.filter(outcome=JobTask.Outcome.DONE).values_list("component_id", "task"))
    fitted = list(
        Fitment.objects.current()
        .filter(trike_id=card.trike_id)
        .values_list("component_id", "component__part_type__kind")
    )
    rows = dict.fromkeys(done, "")
    for code, via in covered_tasks([task for _, task in done], includes_map()).items():
        for component_id, kind in fitted:
            if task_of(code).on == kind:
                rows.setdefault((component_id, code), via)
    Completion.objects.bulk_create(
        Completion(component_id=component_id, trike_id=card.trike_id, task=task, done_at=at, via=via, job_card=card,
                   recorded_at=now)
        for (component_id, task), via in rows.items()
    )  # fmt: skip
    return [
        LogDraft(
            card.trike_id,
            "task_done",
            at,
            {"task": task, "via": via, "card": card.number},
            component_id,
            by.pk,
            "job_card",
        )
        for (component_id, task), via in rows.items()
    ]


def _told(card: JobCard, at: datetime, by: User) -> list[LogDraft]:
    """Log drafts of the card's measurements and failures."""
    drafts = [
        LogDraft(
            card.trike_id, "measured", at,
            {"quantity": m.quantity, "value": m.value, "context": m.context, "level": m.level, "card": card.number},
            m.component_id, by.pk, "job_card",
        )
        for m in card.measurements.all()
    ]  # fmt: skip
    drafts += [
        LogDraft(
            card.trike_id, "failure", at,
            {"mode": f.mode, "cause": f.cause, "found": f.found, "warranty": f.warranty, "card": card.number},
            f.component_id, by.pk, "job_card",
        )
        for f in card.failures.all()
    ]  # fmt: skip
    return drafts


def _card_entry(card: JobCard, at: datetime, by: User) -> LogDraft:
    """The signature itself. The owner's own words stay on the card, outside what is hashed: they may hold personal data."""
    body = {
        "card": card.number,
        "reading": card.reading_id,
        "odometer_km": card.reading.km,
        "cause": card.cause,
        "correction": card.correction,
        "minutes": card.minutes,
        "deferred": list(card.tasks.filter(outcome=JobTask.Outcome.DEFERRED).values_list("task", flat=True)),
    }
    return LogDraft(card.trike_id, "job_card_signed", at, body, None, by.pk, "job_card")


def _close_visit(card: JobCard, now: datetime) -> None:
    """Close the open visit when nothing it was planned for is due any more."""
    visit = Visit.objects.select_for_update(of=("self",)).filter(trike_id=card.trike_id, state=Visit.State.OPEN).first()
    if visit is None:
        return
    today = local_date(now)
    pending = {
        (line.component_id, line.task): line.due_on
        for line in DueLine.objects.filter(trike_id=card.trike_id, early_on__lte=max(visit.planned_on, today))
    }
    if not any((line.component_id, line.task) in pending for line in visit.lines.all()):
        visit.state, visit.closed_at = Visit.State.DONE, now
        visit.save(update_fields=["state", "closed_at"])


@action
def cancel_card(*, card_id: int, version: int | None, by: User | None = None, now: datetime) -> JobCard:
    """Cancel a draft. Its odometer reading stays. Raises CardAlreadySigned, StaleVersion."""
    card = _draft_card(card_id, version)
    card.state = JobCard.State.CANCELLED
    return _touch(card, "state")


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
