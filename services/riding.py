"""How fast a rider uses a trike: a plain riding rate, the overall average. No season, no range: the pages say so.

Below 30 days or without a reading it is a typical rate: 1,600 km a year, the median of a planning distribution (assumption,
no source; printed means lie near: 31 km a week).
"""

from dataclasses import dataclass

from services.odometer import Timeline

TYPICAL_KM_PER_YEAR = 1600.0
ENOUGH_DAYS = 30.0
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Rate:
    """km a day, whether it is the rider's own, and in words."""

    km_per_day: float
    basis: str
    words: str


TYPICAL = Rate(
    TYPICAL_KM_PER_YEAR / DAYS_A_YEAR,
    "typical",
    "a typical 1,600 km a year, until this rider has a reading a month old",
)


def plain_rate(timeline: Timeline) -> Rate:
    """Return the overall average since the first day, or the typical rate. Depends on the readings, never on today."""
    span = timeline.last_day - float(timeline.days[0])
    if timeline.reading_count < 1 or span < ENOUGH_DAYS:
        return TYPICAL
    per_day = timeline.last_km / span
    return Rate(per_day, "own", f"this rider's plain average of {per_day * DAYS_A_YEAR:,.0f} km a year")
