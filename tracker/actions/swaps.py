"""Swaps: old serial out, new serial in; planned on the draft, carried out when the card is signed."""

from collections.abc import Mapping
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from services.fates import usual_fate
from services.identity import canonical_serial, clean_text
from services.positions import POSITIONS, check_position
from tracker.actions.bulletin_stops import refuse_stopped
from tracker.actions.card_steps import draft_card, touch
from tracker.actions.refusals import (
    ComponentNotUsable,
    Conflict,
    FieldInvalid,
    NotEnough,
    NotThisTrike,
    PositionTaken,
    RemovedBeforeFitted,
    SerialAlreadyFitted,
    UnknownSerial,
)
from tracker.actions.steps import LogDraft, serial_words
from tracker.actions.transactions import action
from tracker.models import Component, Fitment, JobCard, Swap, User

FITTABLE = {Component.State.IN_STOCK, Component.State.RETURNED}
PAST_LIMIT = ("replace", "stop")


class WhichPlace(Conflict):
    """The part fits in several places of the trike; `facts` names them."""

    code = "which-place"


@action
def plan_swap(
    *, card_id: int, position: str, old_serial: str = "", new_serial: str = "", fate: str = "", reason: str = "",
    by: User | None = None, now: datetime,
) -> Swap:  # fmt: skip
    """Plan old serial -> new serial at a position; it is carried out when the card is signed.

    Raises UnknownSerial, NotThisTrike, SerialAlreadyFitted, ComponentNotUsable, OpenStopBulletin, PositionTaken,
    WrongPosition, FieldInvalid.
    """
    card = draft_card(card_id)
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
    touch(card)
    return row


@action
def swap_in(
    *, card_id: int, new_serial: str, position: str = "", reason: str = "", by: User | None = None, now: datetime
) -> Swap:
    """Plan a swap from the new serial alone: its place is known from its kind, where its old part goes is proposed.

    Raises WhichPlace where it fits in several places and none was named, else the refusals of plan_swap.
    """
    card = draft_card(card_id)
    new = _found(new_serial)
    fitments = {row.position: row for row in _fitted(card)}
    position = position or _place_for(new, fitments)
    check_position(position, new.part_type.kind)
    old = fitments[position].component if position in fitments else None
    planned = card.swaps.filter(position=position).first()
    if planned is not None and planned.new_component_id == new.pk:
        return planned
    _usable(new)
    taken = card.measurements.filter(component=old, level__in=PAST_LIMIT).first() if old else None
    row, _ = Swap.objects.update_or_create(
        card=card, position=position,
        defaults={"old_component": old, "new_component": new,
                  "fate": usual_fate(old.part_type.kind, taken.level if taken else "") if old else "",
                  "reason": clean_text(reason, 200) or (taken.words if taken else "")},
    )  # fmt: skip
    touch(card)
    return row


def _fitted(card: JobCard) -> QuerySet[Fitment]:
    return Fitment.objects.current().filter(trike_id=card.trike_id).select_related("component__part_type")


def _place_for(new: Component, fitments: Mapping[str, Fitment]) -> str:
    """The one place the part can mean: where a part of its kind sits, else where it would fit."""
    fits = [code for code, place in POSITIONS.items() if code != "frame" and new.part_type.kind in place.part_kinds]
    places = [code for code in fits if code in fitments] or fits
    if len(places) != 1:
        raise WhichPlace(
            f"{serial_words(new)} fits in several places.", field="new_serial", remedy="Say which one it goes into.",
            positions=places,
        )  # fmt: skip
    return places[0]


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
    row = _found(serial)
    check_position(position, row.part_type.kind)
    return _usable(row)


def _found(serial: str) -> Component:
    row = Component.objects.filter(serial=canonical_serial(serial)).select_related("part_type").first()
    if row is None:
        raise UnknownSerial(
            f"No component has the serial {canonical_serial(serial)}.", field="new_serial",
            remedy="Take it into stock first, or scan again.",
        )  # fmt: skip
    return row


def _usable(row: Component) -> Component:
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
    refuse_stopped(row, "new_serial")
    return row


@action
def drop_swap(*, card_id: int, position: str, by: User | None = None, now: datetime) -> JobCard:
    """Take a planned swap off a draft card."""
    card = draft_card(card_id)
    Swap.objects.filter(card=card, position=position).delete()
    return touch(card)


def carry_out_swaps(card: JobCard, at: datetime, by: User) -> list[LogDraft]:
    """Move the parts of every planned swap at `at`; return what the logbook is told. A step of signing."""
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
