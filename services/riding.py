"""How fast a rider uses a trike, in a number and in words; and the plain average, for judging a reading as it is typed.

Below 30 days or without a reading it is a typical rate: 1,600 km a year, the median of a planning distribution (assumption,
no source; printed means lie near: 31 km a week).
"""

import math
from dataclasses import dataclass

from services.fleet_rates import FleetRates
from services.odometer import Timeline
from services.rates import RateState

TYPICAL_KM_PER_YEAR = 1600.0
ENOUGH_DAYS = 30.0
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Rate:
    """km a day over a year, whether it is the rider's own, in words; share: how much the rider's own readings count."""

    km_per_day: float
    basis: str
    words: str
    share: float = 0.0


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


def rider_rate(state: RateState, fleet: FleetRates) -> Rate:
    """Return one rider's rate by the season filter (services/rates.py): a year's distance, drawn to the fleet's.

    share = 1 - P / tau2, none below nought: how far the rider's own readings have narrowed what the fleet lets expect.
    """
    a_year = math.exp(float(state.m))
    share = max(1.0 - float(state.P) / fleet.tau2, 0.0)
    if not state.stretches:
        words = f"the fleet's {a_year:,.0f} km a year, until this rider has a reading ten days old"
        return Rate(a_year / DAYS_A_YEAR, "typical", words)
    words = f"about {a_year:,.0f} km a year by the season; the rider's own readings count {share:.0%}"
    return Rate(a_year / DAYS_A_YEAR, "own", words, share)
