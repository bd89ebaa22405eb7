"""What the chart of a trike's distance shows: readings, displays, the way ridden, and the range of the coming months."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from services.forecast import distance_on
from tracker.models import DisplayChange, OdometerReading
from tracker.queries.clock import day_of, day_of_date, local_date
from tracker.queries.life import TrikeClock

AHEAD = timedelta(days=183)
LEVELS = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Seen:
    """A reading as a point: day, life (km), how it is taken, what the display showed."""

    day: float
    life_km: float
    verdict: str
    display_km: float


@dataclass(frozen=True)
class DistancePicture:
    """Days are services/ days, distances km of life. ahead: (day, 10 %, 50 %, 90 %) from the last reading on."""

    today: date
    line: list[tuple[float, float]]
    readings: list[Seen]
    swaps: list[float]
    ahead: list[tuple[float, float, float, float]]


def distance_picture(clock: TrikeClock, now: datetime) -> DistancePicture | None:
    """Return the picture of one trike; None while its first day lies ahead. Two queries."""
    today = local_date(now)
    if clock.zero_day > day_of(now):
        return None
    line = list(zip(clock.timeline.days.tolist(), clock.timeline.life_km.tolist(), strict=True))
    changes = DisplayChange.objects.filter(trike_id=clock.trike_id).order_by("changed_at")
    swaps = [day_of(row.changed_at) for row in changes if day_of(row.changed_at) > clock.zero_day]
    return DistancePicture(today, line, _readings(clock), swaps, _ahead(clock, today))


def _readings(clock: TrikeClock) -> list[Seen]:
    """Accepted ones lie on the line; one in doubt lies where it would be if it were right."""
    counted = (OdometerReading.Verdict.ACCEPTED, OdometerReading.Verdict.SUSPECT)
    rows = OdometerReading.objects.filter(trike_id=clock.trike_id, verdict__in=counted)
    seen = []
    for row in rows.order_by("read_at", "pk"):
        day = day_of(row.read_at)
        life = float(clock.life_at(day))
        if row.verdict == OdometerReading.Verdict.SUSPECT:
            before = [point for point in seen if point.verdict == OdometerReading.Verdict.ACCEPTED]
            life = max(before[-1].life_km + row.km - before[-1].display_km, 0.0) if before else row.km
        seen.append(Seen(day, life, row.verdict, row.km))
    return seen


def _ahead(clock: TrikeClock, today: date) -> list[tuple[float, float, float, float]]:
    """Once a fortnight from the last reading to half a year from today; the range never narrows again."""
    last = clock.timeline.last_day
    end = max(day_of_date(today + AHEAD), last + 30.0)
    days = np.linspace(last, end, max(int((end - last) / 14), 2) + 1)
    band = np.maximum.accumulate(distance_on(clock.state, days, LEVELS, clock.book.km), axis=0)
    return [(float(day), *(float(km) for km in row)) for day, row in zip(days, band, strict=True)]
