"""Fitting and taking off: what sits where, and since when."""

from datetime import datetime
from typing import Any

from django.db import IntegrityError

from services.identity import clean_text
from services.positions import POSITIONS, check_position
from tracker.actions.bulletin_notices import tell_of_hazards
from tracker.actions.bulletin_steps import follow_bulletins
from tracker.actions.bulletin_stops import refuse_stopped
from tracker.actions.refusals import (
    ComponentNotUsable,
    FieldInvalid,
    Invalid,
    PositionTaken,
    RemovedBeforeFitted,
    SerialAlreadyFitted,
    WrongState,
)
from tracker.actions.steps import draft_of, lock_version, refresh_due, serial_words, write_logs
from tracker.actions.transactions import action
from tracker.models import Component, Fitment, Trike, User

USABLE = {Component.State.IN_STOCK, Component.State.RETURNED}


@action
def fit_component(
    *, trike_id: int, position: str, component_id: int, at: datetime, by: User | None = None, now: datetime,
    source: str = "desk",
) -> Fitment:  # fmt: skip
    """Fit a component. Raises SerialAlreadyFitted or PositionTaken (naming where), WrongPosition, ComponentNotUsable,
    OpenStopBulletin.
    """
    trike = lock_version(Trike, trike_id, None)
    if trike.state == Trike.State.RETIRED:
        raise WrongState(
            f"Trike {trike} is retired.", field="trike", remedy="Parts are fitted to trikes in service only."
        )
    fitment = fit(trike, position, component_to_fit(component_id), at, by, source, now)
    refresh_due([trike.pk], now)
    tell_of_hazards([trike.pk], now)
    return fitment


def component_to_fit(component_id: int) -> Component:
    row = Component.objects.select_for_update(of=("self",)).filter(pk=component_id).select_related("part_type").first()
    if row is None:
        raise Invalid("There is no such component.", field="component", remedy="Register it first.")
    return row


def check_can_be_fitted(trike: Trike, position: str, component: Component, at: datetime, now: datetime) -> None:
    """Raise the refusal that names the trike and position in the way, if there is one."""
    check_position(position, component.part_type.kind)
    if at > now:
        raise FieldInvalid("The moment of fitting lies in the future.", field="at", remedy="Use the time it was done.")
    held = Fitment.objects.current().filter(component=component).select_related("trike").first()
    if held is not None:
        raise SerialAlreadyFitted(
            f"{serial_words(component)} sits on trike {held.trike} at {POSITIONS[held.position].title}.",
            field="component", remedy="Take it off there first, or swap it.",
            trike=held.trike.frame_serial, position=held.position,
        )  # fmt: skip
    if component.state not in USABLE:
        raise ComponentNotUsable(
            f"{serial_words(component)} is {component.get_state_display()}.", field="component",
            remedy="Choose a piece from stock.",
        )  # fmt: skip
    refuse_stopped(component)
    taken = Fitment.objects.current().filter(trike=trike, position=position).select_related("component").first()
    if taken is not None:
        raise PositionTaken(
            f"{POSITIONS[position].title} of trike {trike} holds {serial_words(taken.component)}.",
            field="position", remedy="Swap it: the old one leaves as the new one goes in.",
            serial=serial_words(taken.component),
        )  # fmt: skip
    _refuse_overlap(component, trike, position, at)


def _refuse_overlap(component: Component, trike: Trike, position: str, at: datetime) -> None:
    later = Fitment.objects.filter(removed_at__gt=at)
    if (other := later.filter(component=component).select_related("trike").first()) is not None:
        raise SerialAlreadyFitted(
            f"{serial_words(component)} sat on trike {other.trike} until {other.removed_at:%d %b %Y}.",
            field="at", remedy="Use a later date.",
        )  # fmt: skip
    if (other := later.filter(trike=trike, position=position).select_related("component").first()) is not None:
        raise PositionTaken(
            f"{POSITIONS[position].title} held {serial_words(other.component)} until {other.removed_at:%d %b %Y}.",
            field="at", remedy="Use a later date.",
        )  # fmt: skip


def fit(
    trike: Trike, position: str, component: Component, at: datetime, by: User | None, source: str, now: datetime
) -> Fitment:
    check_can_be_fitted(trike, position, component, at, now)
    fitment = put_in(trike, position, component, at)
    write_logs([draft_of(trike.pk, "fitted", at, by, source, _where(component, position), component.pk)], now)
    return fitment


def put_in(trike: Trike, position: str, component: Component, at: datetime) -> Fitment:
    """Write the fitment and the component's state. A lost race answers as the same refusal."""
    try:
        fitment = Fitment.objects.create(trike=trike, position=position, component=component, fitted_at=at)
    except IntegrityError as error:
        raise SerialAlreadyFitted(
            f"{serial_words(component)} or {POSITIONS[position].title} was taken a moment ago.",
            field="component", remedy="Look where it sits now.",
        ) from error  # fmt: skip
    component.state = Component.State.FITTED
    component.version += 1
    component.save(update_fields=["state", "version"])
    return fitment


def _where(component: Component, position: str) -> dict[str, Any]:
    return {"serial": serial_words(component), "position": position, "part": component.part_type.part_number}


@action
def remove_component(
    *, fitment_id: int, at: datetime, reason: str = "", fate: str = Component.State.IN_STOCK, by: User | None = None,
    now: datetime, source: str = "desk",
) -> Fitment:  # fmt: skip
    """End a fitment. Raises RemovedBeforeFitted, WrongState (off already; a frame leaves by retirement only), FieldInvalid."""
    fitment = (
        Fitment.objects.select_for_update(of=("self",)).filter(pk=fitment_id)
        .select_related("component__part_type", "trike").first()
    )  # fmt: skip
    if fitment is None:
        raise Invalid("There is no such fitment.", field="id", remedy="Look it up again.")
    if fitment.position == "frame":
        raise WrongState(
            f"The frame is the trike {fitment.trike}.",
            field="id",
            remedy="Retire the trike: all its parts leave it then.",
        )
    if at > now:
        raise FieldInvalid("The moment of removal lies in the future.", field="at", remedy="Use the time it was done.")
    take_out(fitment, at, clean_text(reason, 200), fate)
    body = _where(fitment.component, fitment.position) | {"fate": fate, "reason": fitment.removal_reason}
    write_logs([draft_of(fitment.trike_id, "removed", at, by, source, body, fitment.component_id)], now)
    follow_bulletins([fitment.component_id], now, by)
    refresh_due([fitment.trike_id], now)
    return fitment


def take_out(fitment: Fitment, at: datetime, reason: str, fate: str) -> None:
    """Write the end of a fitment and where the component went."""
    if fitment.removed_at is not None:
        raise WrongState("This piece was taken off already.", field="id", remedy="Look at the trike's history.")
    if at <= fitment.fitted_at:
        raise RemovedBeforeFitted(
            f"It was fitted on {fitment.fitted_at:%d %b %Y %H:%M}.", field="at", remedy="Use a later moment."
        )
    if fate not in Component.State.values or fate == Component.State.FITTED:
        raise FieldInvalid(f"'{fate}' is no place for a removed piece.", field="fate", remedy="Choose from the list.")
    fitment.removed_at, fitment.removal_reason, fitment.fate = at, reason, fate
    fitment.save(update_fields=["removed_at", "removal_reason", "fate"])
    component = fitment.component
    component.state = fate
    component.version += 1
    component.save(update_fields=["state", "version"])
