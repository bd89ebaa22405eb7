"""Reads of readings: the display around a moment, what it is expected to show, and what the desk must decide."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import QuerySet

from services.entry_question import EntryDoubt, doubt_at_entry, proposals_of
from services.odometer import DisplayChange as Change
from services.readings import Proposal
from services.timeline_one import ASK_ABOVE, Judged, label_readings
from tracker.models import DisplayChange, OdometerReading, Ownership, Trike
from tracker.models.usage import Source
from tracker.queries.clock import day_of
from tracker.queries.life import TrikeClock, clocks_of

DOUBTFUL = {"to confirm", "rejected", "corrected"}


@dataclass(frozen=True)
class Segment:
    """The accepted readings of one display around a moment, and how the rider rides."""

    days: list[float]
    km: list[float]
    delivered_day: float | None
    zero_km: float | None  # what the first display showed at the handover; None for every later display
    clock: TrikeClock
    is_present: bool  # no display came after this one

    @property
    def km_per_day(self) -> float:
        """The rider's rate."""
        return self.clock.rate.km_per_day

    @property
    def is_unread(self) -> bool:
        """Whether nothing was read off it since the handover."""
        return not self.days

    @cached_property
    def stands(self) -> tuple[float, float] | None:
        """The day and the km this display was last known to show; None where nobody knows."""
        if not self.is_unread:
            return self.days[-1], self.km[-1]
        if self.delivered_day is None or self.zero_km is None:
            return None
        return self.delivered_day, self.zero_km

    def offset(self, stands: tuple[float, float]) -> float:
        """Return the km to add to what this display shows for the trike's life."""
        return float(self.clock.life_at(stands[0])) - stands[1]


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
    clock = clocks_of([trike_id], with_rides=False)[trike_id]
    delivered = Trike.objects.filter(pk=trike_id, delivered_on__isnull=False)
    zero_km = delivered.values_list("odometer_zero_km", flat=True).first()
    return Segment(
        [day_of(at) for at, _ in points],
        [km for _, km in points],
        clock.zero_day if zero_km is not None else None,
        zero_km if begun is None else None,
        clock,
        ended is None,
    )


def unit_of(trike_id: int) -> str:
    """Return the unit the present owner of a trike reads distances in; km without one."""
    units = Ownership.objects.filter(trike_id=trike_id, until__isnull=True).values_list(
        "owner__distance_unit", flat=True
    )
    return units.first() or "km"


def doubt_of(segment: Segment, value: Decimal | float, unit: str, day: float, *, owner: bool) -> EntryDoubt | None:
    """Return whether to ask about what is typed now; None where it is no news: an earlier day, an earlier display."""
    stands, state = segment.stands, segment.clock.state
    if stands is None or not segment.is_present:
        return None
    if day < float(state.last_day) and not segment.is_unread:
        return None
    return doubt_at_entry(
        float(value), unit, day, owner=owner, state=state, fleet=segment.clock.book.km,
        offset=segment.offset(stands), first=segment.is_unread,
    )  # fmt: skip


@dataclass(frozen=True)
class LateDoubt:
    """An accepted reading that nobody decided and that the other readings speak against, with what it may have been."""

    reading: OdometerReading
    reason: str
    p_wrong: float
    proposals: tuple[Proposal, ...]

    @property
    def shown(self) -> dict[str, Any]:
        """What a page needs to offer its choices as those of a suspect reading."""
        row = self.reading
        return {"pk": row.pk, "value": row.value, "unit": row.unit, "reason": self.reason, "proposals": self.proposals}


def doubts_of(trike_id: int, now: datetime, clock: TrikeClock | None = None) -> list[LateDoubt]:
    """Return the accepted readings of a trike that all its readings together make doubtful, in order of time.

    What a person decided stands. Three queries however many readings there are, and those of the clock unless at hand.
    """
    read = OdometerReading.objects.filter(trike_id=trike_id).exclude(verdict=OdometerReading.Verdict.ESTIMATED)
    rows = list(read.select_related("photo").order_by("read_at", "pk"))
    if not any(_undecided(row) for row in rows):
        return []
    clock = clock or clocks_of([trike_id])[trike_id]
    changes = [
        Change(day_of(row.changed_at), row.old_final_km, row.new_start_km, row.old_final_km is None)
        for row in DisplayChange.objects.filter(trike_id=trike_id).order_by("changed_at")
    ]
    # a person's choice is in km: the value as typed may have meant something else
    told = [(float(row.value), row.unit) if row.decided_at is None else (row.km, "km") for row in rows]
    found = label_readings(
        [day_of(row.read_at) for row in rows], [value for value, _ in told], [_source(row) for row in rows],
        zero_day=clock.zero_day, fleet=clock.book.km, units=[unit for _, unit in told], changes=changes,
        zero_km=Trike.objects.values_list("odometer_zero_km", flat=True).get(pk=trike_id),
        southern=bool(clock.state.southern), verdicts=[_verdict(row) for row in rows], now_day=day_of(now),
    )  # fmt: skip
    return [
        LateDoubt(row, judged.reason, judged.p_wrong, proposals_of(judged.meanings))
        for row, judged in zip(rows, found.readings, strict=True)
        if _undecided(row) and _is_doubtful(judged)
    ]


def _undecided(row: OdometerReading) -> bool:
    return row.verdict == OdometerReading.Verdict.ACCEPTED and row.decided_at is None


def _is_doubtful(judged: Judged) -> bool:
    return judged.status in DOUBTFUL and judged.p_wrong > ASK_ABOVE


def _source(row: OdometerReading) -> str:
    return "owner" if row.source == Source.OWNER else "desk"


def _verdict(row: OdometerReading) -> str:
    """What a person decided, as services.timeline_one takes it."""
    if row.verdict == OdometerReading.Verdict.REJECTED:
        return "rejected"
    return "accepted" if row.decided_at is not None else ""


def suspect_readings() -> QuerySet[OdometerReading]:
    """Return the readings that wait for a decision, newest first."""
    return (
        OdometerReading.objects.filter(verdict=OdometerReading.Verdict.SUSPECT)
        .select_related("trike", "entered_by", "photo")
        .order_by("-read_at", "-pk")
    )
