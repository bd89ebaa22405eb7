"""Reads of rides that came as files: what they count from, and what they add up to since the display was last read."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Exists, F, OuterRef, QuerySet, Sum

from tracker.models import DisplayChange, OdometerReading, Ownership, RideFile, Trike
from tracker.queries.clock import day_of, workshop_zone

ACCEPTED = OdometerReading.Verdict.ACCEPTED


@dataclass(frozen=True)
class LastRead:
    """When the present display was last known to show what: read, new or reset, or at the handover."""

    at: datetime
    km: float


def last_read(trike_id: int) -> LastRead | None:
    """Return what the display of a trike showed last, None where nobody knows. Two queries, or three.

    At the handover the whole day counts: its hour is not kept.
    """
    readings = OdometerReading.objects.filter(trike_id=trike_id, verdict=ACCEPTED).order_by("-read_at", "-pk")
    changes = DisplayChange.objects.filter(trike_id=trike_id).order_by("-changed_at")
    read = readings.values_list("read_at", "km").first()
    changed = changes.values_list("changed_at", "new_start_km").first()
    if read or changed:
        return LastRead(*max((row for row in (changed, read) if row), key=lambda row: row[0]))
    handed_over = Trike.objects.filter(pk=trike_id, delivered_on__isnull=False)
    for delivered_on, km in handed_over.values_list("delivered_on", "odometer_zero_km"):
        return LastRead(_midnight(delivered_on), km)
    return None


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=workshop_zone())


def rides_since(trike_id: int, moment: datetime) -> QuerySet[RideFile]:
    """Return the rides of a trike that began at or after `moment`."""
    return RideFile.objects.filter(trike_id=trike_id, started_at__gte=moment)


def open_rides(trike_ids: Iterable[int]) -> dict[int, list[tuple[float, float, float]]]:
    """Return (start day, end day, km) of the rides that began after the last accepted reading, by trike. One query."""
    later = OdometerReading.objects.filter(
        trike_id=OuterRef("trike_id"), verdict=ACCEPTED, read_at__gt=OuterRef("started_at")
    )
    rows = RideFile.objects.filter(~Exists(later), trike_id__in=set(trike_ids)).order_by("trike_id", "started_at", "pk")
    found: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    for trike_id, started_at, ended_at, km in rows.values_list("trike_id", "started_at", "ended_at", "km"):
        found[trike_id].append((day_of(started_at), day_of(ended_at), km))
    return found


@dataclass(frozen=True)
class RidesTold:
    """What an owner is told of the ride files: how many, how far, and since which day."""

    count: int
    km: float
    since: date


def rides_told(trike_id: int) -> RidesTold | None:
    """Return what the present owner's ride files add up to since the display was last read; None without any."""
    begun = last_read(trike_id)
    owned = Ownership.objects.filter(trike_id=trike_id, until__isnull=True).values_list("since", flat=True).first()
    if begun is None or owned is None:
        return None
    begun_at = max(begun.at, _midnight(owned))
    found = list(rides_since(trike_id, begun_at).values_list("km", flat=True))
    return RidesTold(len(found), sum(found), begun_at.astimezone(workshop_zone()).date()) if found else None


def rides() -> QuerySet[RideFile]:
    """Return all rides with their reading, newest first."""
    return RideFile.objects.select_related("trike", "reading").order_by("-started_at", "-pk")


def total_km(rows: QuerySet[RideFile]) -> float:
    """Return how far these rides went."""
    return rows.aggregate(km=Sum(F("km")))["km"] or 0.0
