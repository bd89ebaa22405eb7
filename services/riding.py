"""How fast a rider uses a trike: the numbers a forecast rests on; and the plain average, for judging a file's readings."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from services.fleet_rates import FleetRates
from services.odometer import Timeline
from services.rates import RateState
from services.season import DAYS_A_YEAR, Months, normal_months, season_clock

TYPICAL_KM_PER_YEAR = 1600.0  # median of a planning distribution (assumption, no source; printed means: 31 km a week)
ENOUGH_DAYS = 30.0


@dataclass(frozen=True)
class RiderRate:
    """What is known of one rider, small enough to be kept beside a due line and told from there.

    a_year: km a year; share: how much of it comes from the rider's own readings (1 - P / tau2, 0 to 1); stretches: how many
    of these there were; months: the season's weights, southern: shifted by six months; read_on, read_km: day and life of
    the last reading, of the delivery where nothing was read yet.
    """

    a_year: float
    share: float
    stretches: int
    months: Months
    southern: bool
    read_on: date
    read_km: float

    @property
    def km_per_day(self) -> float:
        """km a day, over a year."""
        return self.a_year / DAYS_A_YEAR

    def km_between(self, start: date, end: date) -> float:
        """Return the km expected from noon to noon, as likely more as less; 0 where `end` is not after `start`."""
        days = [max(start, day).toordinal() + 0.5 for day in (start, end)]
        begun, ended = season_clock(normal_months(self.months), days, self.southern)
        return self.a_year * float(ended - begun)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, rounded to what they can tell."""
        return asdict(self) | {
            "a_year": round(self.a_year, 1), "share": round(self.share, 3), "read_km": round(self.read_km, 1),
            "months": [round(weight, 3) for weight in self.months], "read_on": self.read_on.isoformat(),
        }  # fmt: skip

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> "RiderRate":
        """Return what as_dict gave."""
        return cls(**{**kept, "months": tuple(kept["months"]), "read_on": date.fromisoformat(kept["read_on"])})


def rider_rate(state: RateState, fleet: FleetRates) -> RiderRate:
    """Return the rate of one rider by the season filter (services/rates.py), drawn to the fleet's."""
    share = min(max(1.0 - float(state.P) / fleet.tau2, 0.0), 1.0)
    return RiderRate(
        math.exp(float(state.m)), share, int(state.stretches), fleet.months, bool(state.southern),
        date.fromordinal(int(state.last_day)), float(state.last_km),
    )  # fmt: skip


def plain_km_per_day(timeline: Timeline) -> float:
    """Return the overall average since the first day; the typical rate below 30 days or without a reading."""
    span = timeline.last_day - float(timeline.days[0])
    if timeline.reading_count < 1 or span < ENOUGH_DAYS:
        return TYPICAL_KM_PER_YEAR / DAYS_A_YEAR
    return timeline.last_km / span
