"""What the record holds about one owner, for the owner: articles 15 and 20 of the General Data Protection Regulation."""

from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models import QuerySet

from tracker.models import (
    Appointment,
    LogEntry,
    OdometerReading,
    OutboxMessage,
    OwnerLink,
    Ownership,
    ReadingPhoto,
    RideFile,
)
from tracker.queries.clock import noon

PURPOSE = "Telling you in time what your trike needs, and keeping its service record."
ABOUT = (
    "This is the personal data we keep about you, with what we keep about this trike while it is yours: your access "
    "under Article 15 and your copy to take along under Article 20 of the General Data Protection Regulation. You may "
    "have it corrected or, where nothing obliges us to keep it, erased: ask on your page or write to us. You may also "
    "complain to a data protection authority. Who opened a mail is not recorded: our mails carry nothing that could tell."
)


def owner_data(link: OwnerLink, now: datetime) -> dict[str, Any]:
    """Return everything about the owner of `link` and, since they own it, about its trike; about no other and nobody else."""
    owner = link.owner
    return {
        "about": ABOUT,
        "made_at": now,
        "who_keeps_it": _workshop(),
        "why": PURPOSE,
        "where_it_came_from": "From you, at the handover or on your page, and from the workshop's own work.",
        "who_else_gets_it": "Nobody but who delivers our mail.",
        "you": _fields(owner, "name", "email", "phone", "time_zone", "language", "distance_unit", "pressure_unit"),
        "consent_to_reminders": _fields(
            owner, "reminders_agreed", "agreed_at", "agreed_source", "stopped_at", "email_dead_at"
        ),
        "quiet": _fields(owner, "quiet_from_hour", "quiet_until_hour", "quiet_weekdays"),
        **_of_the_trike(link),
        **_between_us({"trike": link.trike, "owner": owner}),
    }  # fmt: skip


def _of_the_trike(link: OwnerLink) -> dict[str, Any]:
    """What the trike's record holds since it is the owner's."""
    trike = link.trike
    owned = Ownership.objects.get(trike=trike, owner=link.owner, until__isnull=True)
    readings = OdometerReading.objects.filter(trike=trike, read_at__date__gte=owned.since)
    rides = RideFile.objects.filter(trike=trike, started_at__date__gte=owned.since)
    told = LogEntry.objects.filter(trike=trike, source="owner", occurred_at__gte=noon(owned.since).replace(hour=0))
    return {
        "trike": _fields(trike, "frame_serial", "plate", "model", "delivered_on") | {"yours_since": owned.since},
        "odometer_readings": _rows(readings.order_by("read_at", "pk"), "read_at", "value", "unit", "km", "source", "verdict"),
        "pictures_of_the_display": [
            {"read_at": row.reading.read_at, "added_at": row.added_at, "file": picture_name(row)} for row in pictures_of(link)
        ],
        "rides": _rows(rides.order_by("started_at", "pk"), "started_at", "ended_at", "km"),
        "own_entries_in_the_logbook": _rows(told.order_by("seq"), "occurred_at", "kind", "body"),
    }  # fmt: skip


def _between_us(mine: dict[str, Any]) -> dict[str, Any]:
    """What was written, asked for and opened about one owner and trike."""
    return {
        "messages": _rows(
            OutboxMessage.objects.filter(**mine).order_by("created_at", "pk"),
            "kind", "stage", "state", "channel", "created_at", "sent_at",
        ),
        "days_asked_for": _rows(
            Appointment.objects.filter(**mine).order_by("asked_at", "pk"), "on", "state", "note", "answer", "asked_at"
        ),
        "links": _rows(
            OwnerLink.objects.filter(**mine).order_by("created_at", "pk"),
            "purpose", "created_at", "expires_at", "revoked_at", "last_used_at",
        ),
    }  # fmt: skip


def pictures_of(link: OwnerLink) -> list[ReadingPhoto]:
    """Return the pictures that the owner of `link` sent of this trike's display, oldest first."""
    rows = ReadingPhoto.objects.filter(owner_id=link.owner_id, reading__trike_id=link.trike_id).select_related(
        "reading"
    )
    return list(rows.order_by("reading__read_at", "pk"))


def picture_name(row: ReadingPhoto) -> str:
    """Return under which name a picture lies in what its owner takes along."""
    return f"pictures/{row.reading.read_at:%Y-%m-%d}-{row.reading_id}.jpg"


def _workshop() -> dict[str, str]:
    return {"name": settings.WORKSHOP_NAME, "email": settings.WORKSHOP_EMAIL, "phone": settings.WORKSHOP_PHONE}


def _fields(row: Any, *names: str) -> dict[str, Any]:
    return {name: getattr(row, name) for name in names}


def _rows(rows: QuerySet, *names: str) -> list[dict[str, Any]]:
    return list(rows.values(*names))
