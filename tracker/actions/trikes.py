"""Trikes: where a record begins, and what may be changed about one."""

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import F

from services.identity import canonical_serial, clean_text
from services.interval_rules import SEVERITY_FLOOR
from tracker.actions.fitments import component_to_fit, fit
from tracker.actions.refusals import FieldInvalid, Invalid, SerialAlreadyKnown, WrongState
from tracker.actions.steps import assign, draft_of, lock_version, only_these, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import JobCard, Trike, User, Visit

TRIKE_CHANGES = {"severity", "plate", "model", "state"}
EASIEST = 1.0
IN_SERVICE = {Trike.State.DELIVERED, Trike.State.RETIRED}  # what may be changed into each other


@action
def register_trike(
    *, frame_component_id: int, plate: str = "", model: str = "", by: User | None = None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Begin a trike's record with its frame. Raises SerialAlreadyKnown, SerialAlreadyFitted, ComponentNotUsable."""
    frame = component_to_fit(frame_component_id)
    if frame.part_type.kind != "frame" or not frame.serial:
        raise Invalid("A trike begins with a frame that has a serial.", field="frame", remedy="Choose a frame.")
    label = _free_plate(plate)
    if Trike.objects.filter(frame_serial=frame.serial).exists():
        raise SerialAlreadyKnown(
            f"Trike {frame.serial} is registered already.", field="frame", remedy="Open that trike."
        )
    trike = Trike.objects.create(frame_serial=frame.serial, plate=label, model=clean_text(model, 80))
    fit(trike, "frame", frame, now, by, source, now)
    refresh_due([trike.pk], now)
    return trike


@action
def change_trike(
    *, trike_id: int, version: int | None, changes: Mapping[str, Any], by: User | None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Change severity, plate, model, or take a delivered trike out of service and back; the due list follows at once.

    Raises StaleVersion, FieldNotChangeable, FieldInvalid, SerialAlreadyKnown (plate in use), WrongState.
    """
    trike = lock_version(Trike, trike_id, version)
    only_these(changes, TRIKE_CHANGES)
    values = dict(changes)
    if "plate" in values:
        values["plate"] = _free_plate(values["plate"], trike)
    if "severity" in values:
        values["severity"] = _checked_severity(values["severity"])
    if "state" in values:
        _check_state(trike, values["state"])
    before = {name: getattr(trike, name) for name in values}
    assign(trike, values)
    moved = {name for name in values if getattr(trike, name) != before[name]}
    if moved:
        body = {"before": {n: before[n] for n in sorted(moved)}, "after": {n: getattr(trike, n) for n in sorted(moved)}}
        write_logs([draft_of(trike.pk, "trike_changed", now, by, source, body)], now)
    if "state" in moved and trike.state == Trike.State.RETIRED:
        _drop_visits(trike, now)
    if moved & {"severity", "state"}:
        refresh_due([trike.pk], now)
    return trike


def _free_plate(plate: str | None, trike: Trike | None = None) -> str | None:
    """The plate label as kept; empty is none. Raises SerialAlreadyKnown where another trike carries it, BadSerial."""
    label = canonical_serial(plate) if plate and plate.strip() else None
    if label and Trike.objects.filter(plate=label).exclude(pk=trike.pk if trike else None).exists():
        raise SerialAlreadyKnown(f"Plate {label} is in use.", field="plate", remedy="Use another plate label.")
    return label


def _checked_severity(value: Any) -> float:
    usable = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not usable or not SEVERITY_FLOOR <= value <= EASIEST:
        raise FieldInvalid(
            f"Severity lies between {SEVERITY_FLOOR:g} and {EASIEST:g}.", field="severity",
            remedy="1 dry tarmac, 0.75 wet or winter salt, 0.5 sand, gravel or loaded touring.",
        )  # fmt: skip
    return float(value)


def _check_state(trike: Trike, state: str) -> None:
    if state == trike.state:
        return
    if state not in IN_SERVICE:
        raise FieldInvalid(f"A trike is not made '{state}' by hand.", field="state", remedy="Use delivered or retired.")
    if trike.state not in IN_SERVICE:
        raise WrongState(
            f"Trike {trike} is {trike.get_state_display()}.", field="state", remedy="The handover delivers it."
        )
    card = JobCard.objects.filter(trike=trike, state=JobCard.State.DRAFT).first()
    if card is not None:
        raise WrongState(
            f"Job card {card.number} of this trike is still open.", field="state", remedy="Sign or cancel it first."
        )


def _drop_visits(trike: Trike, now: datetime) -> None:
    """A trike out of service is asked to no visit: nights no longer look at it."""
    Visit.objects.filter(trike=trike, state=Visit.State.OPEN).update(
        state=Visit.State.DROPPED, closed_at=now, sequence=F("sequence") + 1
    )
