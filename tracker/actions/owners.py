"""Owners: contact, units, consent."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import available_timezones

import phonenumbers
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from services.hemisphere import is_southern
from services.identity import clean_text, fold_name
from services.language import LANGUAGES
from tracker.actions.refusals import BadAddress, FieldInvalid, NotEnough, UnknownTimeZone, WrongState
from tracker.actions.steps import lock_trikes, lock_version, only_these, refresh_due
from tracker.actions.transactions import action
from tracker.models import Owner, Ownership, User

OWNER_CHANGES = {
    "name", "email", "phone", "time_zone", "distance_unit", "pressure_unit", "language", "reminders_agreed", "agreed_source",
}  # fmt: skip


@action
def add_owner(
    *, name: str, email: str = "", phone: str = "", time_zone: str = "", distance_unit: str = "km",
    pressure_unit: str = "bar", language: str = "en", reminders_agreed: bool = False, agreed_source: str = "",
    by: User | None = None, now: datetime,
) -> Owner:  # fmt: skip
    """Add an owner. Raises BadAddress, UnknownTimeZone, FieldInvalid (a language we do not write)."""
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
    """Change an owner's contact, units or consent. Raises StaleVersion, FieldNotChangeable, BadAddress, WrongState.

    Who moves to the other half of the earth rides by other seasons: the due lines follow at once.
    """
    owned = Ownership.objects.filter(owner_id=owner_id, until__isnull=True)
    lock_trikes(owned.values_list("trike_id", flat=True))  # before the owner, as whoever passes a trike on
    owner = lock_version(Owner, owner_id, version)
    only_these(changes, OWNER_CHANGES)
    if owner.erased_at is not None:
        raise WrongState("Their data was erased.", field="id", remedy="Add the owner anew.")
    was_southern = is_southern(owner.time_zone)
    _set_owner(owner, changes, now)
    owner.version += 1
    owner.save()
    if is_southern(owner.time_zone) is not was_southern:
        refresh_due(owned.values_list("trike_id", flat=True), now)
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
    if "language" in values and owner.language not in LANGUAGES:
        raise FieldInvalid(
            f"We do not write in '{owner.language}'.", field="language", remedy=f"One of: {', '.join(LANGUAGES)}."
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
