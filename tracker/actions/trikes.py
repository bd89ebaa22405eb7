"""Trikes: where a record begins, and what may be changed about one."""

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from services.identity import canonical_serial, clean_text
from services.interval_rules import SEVERITY_FLOOR
from tracker.actions.fitments import component_to_fit, fit
from tracker.actions.labels import new_label_code
from tracker.actions.refusals import FieldInvalid, Invalid, SerialAlreadyKnown
from tracker.actions.steps import assign, draft_of, lock_version, only_these, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Trike, User

TRIKE_CHANGES = {"severity", "plate", "model"}
EASIEST = 1.0


@action
def register_trike(
    *, frame_component_id: int, plate: str = "", model: str = "", by: User | None = None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Begin a trike's record with its frame; where that was kept from a retired trike, open the record again.

    Raises SerialAlreadyKnown, SerialAlreadyFitted, ComponentNotUsable.
    """
    frame = component_to_fit(frame_component_id)
    if frame.part_type.kind != "frame" or not frame.serial:
        raise Invalid("A trike begins with a frame that has a serial.", field="frame", remedy="Choose a frame.")
    known = Trike.objects.filter(frame_serial=frame.serial).values_list("pk", "state").first()
    if known is None:
        trike = Trike.objects.create(
            frame_serial=frame.serial, plate=_free_plate(plate), model=clean_text(model, 80), label_code=new_label_code()
        )  # fmt: skip
    elif known[1] == Trike.State.RETIRED:
        trike = _open_again(lock_version(Trike, known[0], None), plate, model, by, now, source)
    else:
        raise SerialAlreadyKnown(
            f"Trike {frame.serial} is registered already.", field="frame", remedy="Open that trike."
        )
    fit(trike, "frame", frame, now, by, source, now)
    refresh_due([trike.pk], now)
    return trike


def _open_again(trike: Trike, plate: str, model: str, by: User | None, now: datetime, source: str) -> Trike:
    """Take a retired trike back: its record, logbook and owners go on; its parts are fitted as they are found."""
    trike.plate = _free_plate(plate, trike) or trike.plate
    trike.model = clean_text(model, 80) or trike.model
    trike.state = Trike.State.DELIVERED if trike.delivered_on else Trike.State.IN_BUILD
    trike.retired_on, trike.retired_reason = None, ""
    trike.version += 1
    trike.save(update_fields=["plate", "model", "state", "retired_on", "retired_reason", "version"])
    write_logs([draft_of(trike.pk, "opened_again", now, by, source, {"state": trike.state})], now)
    return trike


@action
def change_trike(
    *, trike_id: int, version: int | None, changes: Mapping[str, Any], by: User | None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Change severity, plate or model; the due list follows at once. Out of service: tracker/actions/retirement.py.

    Raises StaleVersion, FieldNotChangeable, FieldInvalid, SerialAlreadyKnown (plate in use).
    """
    trike = lock_version(Trike, trike_id, version)
    only_these(changes, TRIKE_CHANGES)
    values = dict(changes)
    if "plate" in values:
        values["plate"] = _free_plate(values["plate"], trike)
    if "severity" in values:
        values["severity"] = _checked_severity(values["severity"])
    before = {name: getattr(trike, name) for name in values}
    assign(trike, values)
    moved = {name for name in values if getattr(trike, name) != before[name]}
    if moved:
        body = {"before": {n: before[n] for n in sorted(moved)}, "after": {n: getattr(trike, n) for n in sorted(moved)}}
        write_logs([draft_of(trike.pk, "trike_changed", now, by, source, body)], now)
    if "severity" in moved:
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
