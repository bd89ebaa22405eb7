"""Odometers in memory while a file is examined: each reading is judged against those before it, also of the file."""

from bisect import insort
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from services.odometer import DisplayChange, Verdict, build_timeline, judge_reading
from services.riding import plain_km_per_day
from services.units import to_km
from tracker.actions.importing.plan import Context, rows_in
from tracker.models import DisplayChange as DisplayChangeRow
from tracker.models import OdometerReading, Trike
from tracker.queries.clock import day_of, day_of_date, local_date, noon

JUST_BEFORE = timedelta(minutes=1)
MILLI = Decimal("0.001")


@dataclass
class Meter:
    """One trike's accepted readings and display changes."""

    zero_day: float | None
    zero_km: float
    delivered: bool
    points: list[tuple[datetime, float]] = field(default_factory=list)  # accepted, in km, in time order
    changes: list[tuple[datetime, float | None, float]] = field(default_factory=list)  # when, old final, new start
    rate: float | None = None

    def km_per_day(self, moment: datetime) -> float:
        """How the rider rides, from all accepted readings."""
        if self.rate is None:
            changes = tuple(DisplayChange(day_of(at), old, new, old is None) for at, old, new in self.changes)
            zero = (
                self.zero_day
                if self.zero_day is not None
                else min([day_of(moment), *(day_of(at) for at, _ in self.points)])
            )
            days, km = [day_of(at) for at, _ in self.points], [km for _, km in self.points]
            self.rate = plain_km_per_day(build_timeline(days, km, changes, zero_day=zero, zero_km=self.zero_km))
        return self.rate

    def begun_by(self, moment: datetime) -> tuple[datetime, float | None, float] | None:
        """Return the display change that brought the display of `moment`; None for the trike's first display."""
        return max((change for change in self.changes if change[0] <= moment), default=None, key=lambda c: c[0])

    def segment(self, moment: datetime) -> list[tuple[datetime, float]]:
        """Return the accepted values of the display that was on the trike at `moment`."""
        begun = self.begun_by(moment)
        ended = min((change for change in self.changes if change[0] > moment), default=None, key=lambda c: c[0])
        points = [(begun[0], begun[2])] if begun else []
        points += [
            point for point in self.points if (not begun or point[0] >= begun[0]) and (not ended or point[0] < ended[0])
        ]
        if ended and ended[1] is not None:
            points.append((ended[0], ended[1]))
        return points


class Meters:
    """The meters of the trikes a file names."""

    def __init__(self, trikes: Iterable[Trike], context: Context) -> None:
        self.now = context.now
        self.meters = {
            trike.pk: Meter(
                day_of_date(trike.delivered_on) if trike.delivered_on else None,
                trike.odometer_zero_km,
                trike.delivered_on is not None,
            )
            for trike in trikes
        }
        self.known: dict[tuple, OdometerReading] = {}
        stored = OdometerReading.objects.order_by("read_at", "pk")
        for row in rows_in(stored, "trike_id", self.meters):
            self.known[_key(row.trike_id, row.read_at, row.value, row.unit)] = row
            if row.verdict == OdometerReading.Verdict.ACCEPTED:
                self.meters[row.trike_id].points.append((row.read_at, row.km))
        self.known_changes: set[tuple[int, datetime]] = set()
        for change in rows_in(DisplayChangeRow.objects.order_by("changed_at"), "trike_id", self.meters):
            self.add_change(change.trike_id, change.changed_at, change.old_final_km, change.new_start_km)

    def stored(self, trike_id: int, at: datetime, value: Decimal, unit: str) -> OdometerReading | None:
        """Return the reading of the same day, value and unit, if there is one."""
        return self.known.get(_key(trike_id, at, value, unit))

    def moment_of(self, trike_id: int, at: datetime, km: float) -> datetime:
        """Return when a reading of that noon was taken: just before a display change if it fits the old one better."""
        for changed_at, old, new in self.meters[trike_id].changes:
            if changed_at == noon(local_date(at)) and old is not None and abs(km - old) < abs(km - new):
                return changed_at - JUST_BEFORE
        return at

    def judge(self, trike_id: int, at: datetime, value: Decimal, unit: str) -> Verdict:
        """Return the verdict on a reading. Raises what services.odometer refuses."""
        meter = self.meters[trike_id]
        points = meter.segment(at)
        return judge_reading(
            day=day_of(at),
            value=float(value),
            unit=unit,
            now_day=day_of(self.now),
            delivered_day=meter.zero_day if meter.delivered else None,
            readings_days=[day_of(when) for when, _ in points],
            readings_km=[km for _, km in points],
            km_per_day=meter.km_per_day(at),
            strict=False,
            zero_km=None if meter.begun_by(at) else meter.zero_km,
        )

    def take(self, reading: OdometerReading) -> None:
        """Let a judged reading stand; an accepted one counts for those after it."""
        self.known[_key(reading.trike_id, reading.read_at, reading.value, reading.unit)] = reading
        if reading.verdict == OdometerReading.Verdict.ACCEPTED:
            meter = self.meters[reading.trike_id]
            insort(meter.points, (reading.read_at, reading.km))
            meter.rate = None

    def add_change(self, trike_id: int, at: datetime, old_km: float | None, new_km: float) -> None:
        """Let a display change stand."""
        self.known_changes.add((trike_id, at))
        self.meters[trike_id].changes.append((at, old_km, new_km))
        self.meters[trike_id].rate = None


def reading_of(
    trike_id: int,
    at: datetime,
    value: Decimal,
    unit: str,
    source: str,
    verdict: Verdict,
    context: Context,
    note: str = "",
) -> OdometerReading:
    """Return the unsaved reading with its verdict."""
    return OdometerReading(
        trike_id=trike_id, read_at=at, value=value, unit=unit, km=float(to_km(float(value), unit)), source=source,
        verdict=verdict.state, reason_code=verdict.code[:40], reason=verdict.reason[:400],
        proposals=[{"code": p.code, "km": p.km, "words": p.words} for p in verdict.proposals],
        entered_by_id=context.by_id, note=note, recorded_at=context.now,
    )  # fmt: skip


def _key(trike_id: int, at: datetime, value: Decimal, unit: str) -> tuple:
    return trike_id, local_date(at), Decimal(value).quantize(MILLI), unit


def trikes_named(names: Iterable[str | None]) -> dict[str, Trike]:
    """Return the trikes that these frame serials or plates name."""
    wanted = set(names)
    found: dict[str, Trike] = {}
    for trike in rows_in(Trike.objects.all(), "plate", wanted):
        found[trike.plate or ""] = trike
    for trike in rows_in(Trike.objects.all(), "frame_serial", wanted):
        found[trike.frame_serial] = trike
    return found
