"""The register: part types, components, trikes, what is fitted where, owners, handover."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import available_timezones

import phonenumbers
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError

from services.identity import canonical_serial, clean_text, fold_name
from services.parts import check_rated
from services.positions import POSITIONS, check_position
from tracker.actions.refusals import (
    BadAddress,
    ComponentNotUsable,
    FieldInvalid,
    FieldNotChangeable,
    Invalid,
    NotEnough,
    PositionTaken,
    RemovedBeforeFitted,
    SameSigner,
    SerialAlreadyFitted,
    SerialAlreadyKnown,
    UnknownTimeZone,
    WrongState,
)
from tracker.actions.steps import draft_of, lock_version, refresh_due, serial_words, write_logs
from tracker.actions.transactions import action
from tracker.models import Component, Fitment, Handover, HandoverCheck, Owner, Ownership, PartType, Trike, User
from tracker.queries.clock import noon

USABLE = {Component.State.IN_STOCK, Component.State.RETURNED}
COMPONENT_CHANGES = {"batch", "made_on", "firmware", "state", "note"}
OWNER_CHANGES = {
    "name", "email", "phone", "time_zone", "distance_unit", "pressure_unit", "language", "reminders_agreed", "agreed_source",
}  # fmt: skip
PART_TYPE_CHANGES = {"maker", "name", "rated"}


@action
def add_part_type(
    *, kind: str, part_number: str, name: str, maker: str = "", rated: Mapping[str, Any] | None = None,
    by: User | None = None, now: datetime,
) -> PartType:  # fmt: skip
    """Add a catalogue entry. Raises BadRatedValues, SerialAlreadyKnown."""
    number = canonical_serial(part_number)
    if PartType.objects.filter(part_number=number).exists():
        raise SerialAlreadyKnown(
            f"Part number {number} is in the catalogue already.",
            field="part_number",
            remedy="Change that entry instead.",
        )
    return PartType.objects.create(
        kind=kind, part_number=number, name=clean_text(name, 120), maker=clean_text(maker, 80),
        rated=check_rated(kind, dict(rated or {})),
    )  # fmt: skip


@action
def change_part_type(
    *, part_type_id: int, version: int | None, changes: Mapping[str, Any], by: User | None, now: datetime
) -> PartType:
    """Change maker, name or rated values. Raises StaleVersion, FieldNotChangeable, BadRatedValues."""
    row = lock_version(PartType, part_type_id, version)
    _only(changes, PART_TYPE_CHANGES)
    values = dict(changes)
    if "rated" in values:
        values["rated"] = check_rated(row.kind, dict(values["rated"]))
    _assign(row, values)
    return row


@action
def add_component(
    *, part_type_id: int, serial: str | None = None, batch: str = "", made_on: date | None = None, firmware: str = "",
    note: str = "", life_before_km: float | None = 0.0, by: User | None = None, now: datetime, source: str = "desk",
) -> Component:  # fmt: skip
    """Take a component into stock. Raises SerialAlreadyKnown, NotEnough, BadSerial."""
    if not serial and not batch:
        raise NotEnough("A component needs a serial or a batch number.", field="serial", remedy="Enter one of the two.")
    canonical = canonical_serial(serial) if serial else None
    if not PartType.objects.filter(pk=part_type_id).exists():
        raise Invalid("There is no such part type.", field="part_type", remedy="Add it to the catalogue first.")
    if made_on and made_on > now.date():
        raise FieldInvalid("The made-on date lies in the future.", field="made_on", remedy="Check the year.")
    _refuse_known_serial(canonical)
    return Component.objects.create(
        part_type_id=part_type_id, serial=canonical, serial_as_typed=(serial or "").strip()[:60],
        batch=clean_text(batch, 40), made_on=made_on, firmware=clean_text(firmware, 40), note=clean_text(note, 500),
        life_before_km=life_before_km,
    )  # fmt: skip


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
    _only(changes, COMPONENT_CHANGES)
    if "state" in changes:
        _check_state_change(row, changes["state"])
    before = {name: _text(getattr(row, name)) for name in changes}
    _assign(row, changes)
    fitment = Fitment.objects.current().filter(component=row).first()
    if fitment is not None:
        body = {"serial": serial_words(row), "before": before, "after": {k: _text(v) for k, v in changes.items()}}
        write_logs([draft_of(fitment.trike_id, "component_changed", now, by, "desk", body, row.pk)], now)
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


@action
def add_owner(
    *, name: str, email: str = "", phone: str = "", time_zone: str = "", distance_unit: str = "km",
    pressure_unit: str = "bar", language: str = "en", reminders_agreed: bool = False, agreed_source: str = "",
    by: User | None = None, now: datetime,
) -> Owner:  # fmt: skip
    """Add an owner. Raises BadAddress, UnknownTimeZone."""
    owner = Owner()
    values = {
        "name": name, "email": email, "phone": phone, "time_zone": time_zone or settings.WORKSHOP_TIME_ZONE,
        "distance_unit": distance_unit, "pressure_unit": pressure_unit, "language": language,
        "reminders_agreed": reminders_agreed, "agreed_source": agreed_source,
    }  # fmt: skip
    _set_owner(owner, values, now)
    owner.save()
    return owner


@action
def change_owner(
    *, owner_id: int, version: int | None, changes: Mapping[str, Any], by: User | None, now: datetime
) -> Owner:
    """Change an owner's contact, units or consent. Raises StaleVersion, FieldNotChangeable, BadAddress."""
    owner = lock_version(Owner, owner_id, version)
    _only(changes, OWNER_CHANGES)
    _set_owner(owner, changes, now)
    owner.version += 1
    owner.save()
    return owner


def _set_owner(owner: Owner, values: Mapping[str, Any], now: datetime) -> None:
    for name, value in values.items():
        setattr(owner, name, clean_text(value, 254) if isinstance(value, str) else value)
    if not owner.name.strip():
        raise NotEnough("An owner needs a name.", field="name", remedy="Enter the rider's name.")
    if owner.time_zone not in available_timezones():
        raise UnknownTimeZone(
            f"'{owner.time_zone}' is no time zone.", field="time_zone", remedy="Use a name such as Europe/Berlin."
        )
    if "email" in values:
        owner.email = checked_email(owner.email)
        owner.email_dead_at = None
    if "phone" in values:
        owner.phone_e164 = e164(owner.phone)
    if values.get("reminders_agreed"):
        owner.agreed_at = now
        owner.stopped_at = None
    owner.name = owner.name.strip()[:120]
    owner.search_name = fold_name(owner.name)


def checked_email(text: str) -> str:
    """Return the address, trimmed; empty stays empty. Raises BadAddress."""
    address = text.strip()
    if not address:
        return ""
    try:
        validate_email(address)
    except ValidationError as error:
        raise BadAddress(
            f"'{address[:60]}' is no e-mail address.",
            field="email",
            remedy="Enter one address such as name@example.org.",
        ) from error
    return address


def e164(text: str) -> str:
    """Return a phone number in international form, or '' when it cannot be read as one (it is kept as typed)."""
    try:
        number = phonenumbers.parse(text, settings.WORKSHOP_PHONE_REGION)
    except phonenumbers.NumberParseException:
        return ""
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


@action
def register_trike(
    *, frame_component_id: int, plate: str = "", model: str = "", by: User | None = None, now: datetime,
    source: str = "desk",
) -> Trike:  # fmt: skip
    """Begin a trike's record with its frame. Raises SerialAlreadyKnown, SerialAlreadyFitted, ComponentNotUsable."""
    frame = _component_to_fit(frame_component_id)
    if frame.part_type.kind != "frame" or not frame.serial:
        raise Invalid("A trike begins with a frame that has a serial.", field="frame", remedy="Choose a frame.")
    label = canonical_serial(plate) if plate else None
    if label and Trike.objects.filter(plate=label).exists():
        raise SerialAlreadyKnown(f"Plate {label} is in use.", field="plate", remedy="Use another plate label.")
    if Trike.objects.filter(frame_serial=frame.serial).exists():
        raise SerialAlreadyKnown(
            f"Trike {frame.serial} is registered already.", field="frame", remedy="Open that trike."
        )
    trike = Trike.objects.create(frame_serial=frame.serial, plate=label, model=clean_text(model, 80))
    _fit(trike, "frame", frame, now, by, source, now)
    return trike


@action
def fit_component(
    *, trike_id: int, position: str, component_id: int, at: datetime, by: User | None = None, now: datetime,
    source: str = "desk",
) -> Fitment:  # fmt: skip
    """Fit a component. Raises SerialAlreadyFitted or PositionTaken (naming where), WrongPosition, ComponentNotUsable."""
    trike = lock_version(Trike, trike_id, None)
    if trike.state == Trike.State.RETIRED:
        raise WrongState(
            f"Trike {trike} is retired.", field="trike", remedy="Parts are fitted to trikes in service only."
        )
    fitment = _fit(trike, position, _component_to_fit(component_id), at, by, source, now)
    refresh_due([trike.pk], now)
    return fitment


def _component_to_fit(component_id: int) -> Component:
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


def _fit(
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
    """End a fitment. Raises RemovedBeforeFitted, WrongState, FieldInvalid."""
    fitment = (
        Fitment.objects.select_for_update(of=("self",)).filter(pk=fitment_id)
        .select_related("component__part_type", "trike").first()
    )  # fmt: skip
    if fitment is None:
        raise Invalid("There is no such fitment.", field="id", remedy="Look it up again.")
    if at > now:
        raise FieldInvalid("The moment of removal lies in the future.", field="at", remedy="Use the time it was done.")
    take_out(fitment, at, clean_text(reason, 200), fate)
    body = _where(fitment.component, fitment.position) | {"fate": fate, "reason": fitment.removal_reason}
    write_logs([draft_of(fitment.trike_id, "removed", at, by, source, body, fitment.component_id)], now)
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


@action
def hand_over(
    *, trike_id: int, owner_id: int, handed_over_on: date, reading_km: float, built_by: User,
    rider_mass_kg: float | None = None, shock_pressure_kpa: float | None = None, elastomer_grade: str = "",
    toe_in_mm: float | None = None, checks: Sequence[tuple[str, bool, str]] = (), note: str = "",
    by: User | None = None, now: datetime, source: str = "desk",
) -> Handover:  # fmt: skip
    """Record rider set-up and final check, signed by the builder. The trike is delivered by the second signature.

    Raises WrongState (handed over already), NotEnough (no final check), FieldInvalid.
    """
    trike = lock_version(Trike, trike_id, None)
    if trike.state != Trike.State.IN_BUILD or Handover.objects.filter(trike=trike).exists():
        raise WrongState(f"Trike {trike} was handed over already.", field="trike", remedy="Open its as-built record.")
    if not checks:
        raise NotEnough("The final check is empty.", field="checks", remedy="Go through the final-check list.")
    if failed := [item for item, passed, _ in checks if not passed]:
        raise NotEnough(f"Not passed: {', '.join(failed)}.", field="checks", remedy="Put it right, then sign.")
    if handed_over_on > now.date():
        raise FieldInvalid("The handover lies in the future.", field="handed_over_on", remedy="Check the date.")
    _refuse_out_of(reading_km, 0, 1_000_000, "reading_km", "km")
    _refuse_out_of(rider_mass_kg, 20, 250, "rider_mass_kg", "kg")
    _refuse_out_of(shock_pressure_kpa, 0, 3_500, "shock_pressure_kpa", "kPa")
    _refuse_out_of(toe_in_mm, -10, 10, "toe_in_mm", "mm")
    if not Owner.objects.filter(pk=owner_id).exists():
        raise Invalid("There is no such owner.", field="owner", remedy="Add the owner first.")
    handover = Handover.objects.create(
        trike=trike, handed_over_on=handed_over_on, reading_km=reading_km, rider_mass_kg=rider_mass_kg,
        shock_pressure_kpa=shock_pressure_kpa, elastomer_grade=elastomer_grade, toe_in_mm=toe_in_mm,
        built_by=built_by, built_signed_at=now, note=clean_text(note, 500),
    )  # fmt: skip
    HandoverCheck.objects.bulk_create(
        HandoverCheck(handover=handover, item=clean_text(item, 120), passed=passed, note=clean_text(text, 200))
        for item, passed, text in checks
    )
    Ownership.objects.create(trike=trike, owner_id=owner_id, since=handed_over_on)
    body = {"reading_km": reading_km, "rider_mass_kg": rider_mass_kg, "shock_pressure_kpa": shock_pressure_kpa,
            "elastomer_grade": elastomer_grade, "toe_in_mm": toe_in_mm,
            "checks": [[item, bool(passed)] for item, passed, _ in checks]}  # fmt: skip
    write_logs([draft_of(trike.pk, "handover_built", now, built_by, source, body)], now)
    return handover


def _refuse_out_of(value: float | None, low: float, high: float, field: str, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise FieldInvalid(
            f"{value:g} {unit} is outside {low:g} to {high:g} {unit}.",
            field=field,
            remedy="Check the value and its unit.",
        )


@action
def sign_handover(*, handover_id: int, by: User, now: datetime, source: str = "desk") -> Handover:
    """Give the second signature: the trike is delivered and its schedule begins.

    Raises SameSigner, WrongState, NotEnough (a final check failed).
    """
    handover = (
        Handover.objects.select_for_update(of=("self",))
        .filter(pk=handover_id)
        .select_related("trike", "built_by")
        .first()
    )
    if handover is None:
        raise Invalid("There is no such handover.", field="id", remedy="Look it up again.")
    if handover.second_signed_at is not None:
        raise WrongState("Both signatures are there.", field="id", remedy="Open the as-built record.")
    if handover.built_by_id == by.pk:
        raise SameSigner(
            "The second signature must come from another person than the builder.", field="by",
            remedy="Ask a colleague to check the trike and sign.",
        )  # fmt: skip
    failed = list(handover.checks.filter(passed=False).values_list("item", flat=True))
    if failed:
        raise NotEnough(f"Not passed: {', '.join(failed)}.", field="checks", remedy="Put it right and check again.")
    handover.second_by, handover.second_signed_at = by, now
    handover.save(update_fields=["second_by", "second_signed_at"])
    deliver(handover.trike, handover, now, by, source)
    return handover


def deliver(trike: Trike, handover: Handover, now: datetime, by: User | None, source: str) -> None:
    """Mark the trike delivered, begin its distance at the handover reading, open its due list."""
    from tracker.models import OdometerReading

    trike.state, trike.delivered_on = Trike.State.DELIVERED, handover.handed_over_on
    trike.version += 1
    trike.save(update_fields=["state", "delivered_on", "version"])
    OdometerReading.objects.create(
        trike=trike, read_at=noon(handover.handed_over_on), value=round(handover.reading_km, 3), unit="km",
        km=handover.reading_km, source="handover", entered_by=by, recorded_at=now,
    )  # fmt: skip
    write_logs([draft_of(trike.pk, "delivered", now, by, source, {"on": handover.handed_over_on.isoformat()})], now)
    refresh_due([trike.pk], now)


def _only(changes: Mapping[str, Any], allowed: set[str]) -> None:
    for name in changes:
        if name not in allowed:
            raise FieldNotChangeable(
                f"'{name}' cannot be changed.", field=name, remedy=f"What can be: {', '.join(sorted(allowed))}."
            )


def _assign(row: Any, changes: Mapping[str, Any]) -> None:
    for name, value in changes.items():
        limit = row._meta.get_field(name).max_length
        setattr(row, name, clean_text(value, limit) if isinstance(value, str) and limit else value)
    row.version += 1
    row.save(update_fields=[*changes, "version"])


def _text(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
