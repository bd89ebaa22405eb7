"""Components: taken into stock, and what may be changed about one."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from services.identity import canonical_serial, clean_text
from tracker.actions.bulletin_notices import tell_of_hazards
from tracker.actions.bulletin_steps import follow_bulletins
from tracker.actions.refusals import FieldInvalid, Invalid, NotEnough, SerialAlreadyKnown, WrongState
from tracker.actions.steps import assign, draft_of, lock_version, only_these, refresh_due, serial_words, write_logs
from tracker.actions.transactions import action
from tracker.models import Component, Fitment, PartType, User

COMPONENT_CHANGES = {"batch", "made_on", "firmware", "state", "note"}


@action
def add_component(
    *, part_type_id: int, serial: str | None = None, batch: str = "", made_on: date | None = None, firmware: str = "",
    note: str = "", life_before_km: float | None = 0.0, by: User | None = None, now: datetime, source: str = "desk",
) -> Component:  # fmt: skip
    """Take a component into stock. Raises SerialAlreadyKnown, NotEnough, BadSerial.

    Where a released bulletin names it, it comes under the bulletin at once.
    """
    return take_into_stock(
        part_type_id=part_type_id, serial=serial, batch=batch, made_on=made_on, firmware=firmware, note=note,
        life_before_km=life_before_km, now=now, by=by,
    )  # fmt: skip


def take_into_stock(
    *, part_type_id: int, serial: str | None, batch: str = "", made_on: date | None = None, firmware: str = "",
    note: str = "", life_before_km: float | None = 0.0, now: datetime, by: User | None = None,
) -> Component:  # fmt: skip
    """Write a component into the record; a step of the actions that take one in. Raises as add_component does."""
    if not serial and not batch:
        raise NotEnough("A component needs a serial or a batch number.", field="serial", remedy="Enter one of the two.")
    canonical = canonical_serial(serial) if serial else None
    if not PartType.objects.filter(pk=part_type_id).exists():
        raise Invalid("There is no such part type.", field="part_type", remedy="Add it to the catalogue first.")
    if made_on and made_on > now.date():
        raise FieldInvalid("The made-on date lies in the future.", field="made_on", remedy="Check the year.")
    _refuse_known_serial(canonical)
    row = Component.objects.create(
        part_type_id=part_type_id, serial=canonical, serial_as_typed=(serial or "").strip()[:60],
        batch=clean_text(batch, 40), made_on=made_on, firmware=clean_text(firmware, 40), note=clean_text(note, 500),
        life_before_km=life_before_km,
    )  # fmt: skip
    follow_bulletins([row.pk], now, by)
    return row


def _refuse_known_serial(canonical: str | None) -> None:
    if canonical and Component.objects.filter(serial=canonical).exists():
        raise SerialAlreadyKnown(
            f"Serial {canonical} is registered already.", field="serial", remedy="Search for it to see where it is."
        )


@action
def change_component(
    *, component_id: int, version: int | None, changes: Mapping[str, Any], by: User | None, now: datetime
) -> Component:
    """Change batch, made-on date, firmware, note, or the state of a piece that is not fitted.

    Raises StaleVersion, FieldNotChangeable, WrongState (a quarantined battery does not go back to stock).
    """
    row = lock_version(Component, component_id, version)
    only_these(changes, COMPONENT_CHANGES)
    if "state" in changes:
        _check_state_change(row, changes["state"])
    before = {name: _text(getattr(row, name)) for name in changes}
    assign(row, changes)
    fitment = Fitment.objects.current().filter(component=row).first()
    if fitment is not None:
        body = {"serial": serial_words(row), "before": before, "after": {k: _text(v) for k, v in changes.items()}}
        write_logs([draft_of(fitment.trike_id, "component_changed", now, by, "desk", body, row.pk)], now)
    touched = follow_bulletins([row.pk], now, by)
    if touched:
        refresh_due(touched, now)
        tell_of_hazards(touched, now)
    return row


def _check_state_change(row: Component, state: str) -> None:
    if state not in Component.State.values:
        raise FieldInvalid(f"'{state}' is no state of a component.", field="state", remedy="Choose one from the list.")
    fitted = row.state == Component.State.FITTED
    if fitted != (state == Component.State.FITTED) and (fitted or state == Component.State.FITTED):
        raise WrongState(
            f"{serial_words(row)} is {row.get_state_display()}.", field="state",
            remedy="Fit it to a trike or take it off: its state follows.",
        )  # fmt: skip
    if (
        row.state == Component.State.QUARANTINED
        and row.part_type.kind == "battery"
        and state == Component.State.IN_STOCK
    ):
        raise WrongState(
            "A quarantined battery does not go back to stock.", field="state",
            remedy="Return it to the maker or dispose of it; only the maker's written release may change this.",
        )  # fmt: skip


def _text(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
