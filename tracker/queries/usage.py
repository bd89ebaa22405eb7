"""Reads of readings: the display segment around a moment, and what the desk must decide."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from tracker.models import DisplayChange, OdometerReading, Trike
from tracker.queries.clock import day_of
from tracker.queries.life import clocks_of


@dataclass(frozen=True)
class Segment:
    """The accepted readings of one display around a moment, and how the rider rides."""

    days: list[float]
    km: list[float]
    delivered_day: float | None
    km_per_day: float
    zero_km: float | None  # what the first display showed at the handover; None for every later display


def segment_around(trike_id: int, moment: datetime) -> Segment:
    """Return the segment of the display that was on the trike at `moment`."""
    changes = DisplayChange.objects.filter(trike_id=trike_id)
    begun = changes.filter(changed_at__lte=moment).order_by("-changed_at").first()
    ended = changes.filter(changed_at__gt=moment).order_by("changed_at").first()
    rows = OdometerReading.objects.filter(trike_id=trike_id, verdict=OdometerReading.Verdict.ACCEPTED)
    points: list[tuple[datetime, float]] = []
    if begun is not None:
        rows = rows.filter(read_at__gte=begun.changed_at)
        points.append((begun.changed_at, begun.new_start_km))
    if ended is not None:
        rows = rows.filter(read_at__lt=ended.changed_at)
    points += rows.order_by("read_at", "pk").values_list("read_at", "km")
    if ended is not None and ended.old_final_km is not None:
        points.append((ended.changed_at, ended.old_final_km))
    clock = clocks_of([trike_id])[trike_id]
    delivered = Trike.objects.filter(pk=trike_id, delivered_on__isnull=False)
    zero_km = delivered.values_list("odometer_zero_km", flat=True).first()
    return Segment(
        [day_of(at) for at, _ in points],
        [km for _, km in points],
        clock.zero_day if zero_km is not None else None,
        clock.rate.km_per_day,
        zero_km if begun is None else None,
    )


def suspect_readings() -> QuerySet[OdometerReading]:
    """Return the readings that wait for a decision, newest first."""
    return (
        OdometerReading.objects.filter(verdict=OdometerReading.Verdict.SUSPECT)
        .select_related("trike", "entered_by")
        .order_by("-read_at", "-pk")
    )
