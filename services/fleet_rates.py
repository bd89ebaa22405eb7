"""What the fleet knows about riding: the numbers every rider's rate starts from, learned from readings alone.

Per fleet five numbers, twelve month weights and the recalibrated levels; per machine two (services/rates.py). Shipped values
are planning assumptions, drawn by the data as it comes (services/fleet_fit.py).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from services.levels import IDENTITY, Levels
from services.season import SHIPPED_MONTHS, Months, normal_months


@dataclass(frozen=True)
class FleetRates:
    """Rates of a fleet's meters. mu: mean log distance a season-year; tau2: its spread between machines; q: drift a year;

    s2: noise from day to day; s0: noise of any stretch; months: January to December; levels: recalibrated
    by the fleet's past (services/levels.py). floor: the least distance of a stretch; most_a_day: nobody
    runs more in a day; version and machines: from which fit, and how many machines it saw.
    """

    mu: float
    tau2: float
    q: float
    s2: float
    s0: float
    months: Months = SHIPPED_MONTHS
    levels: Levels = IDENTITY
    floor: float = 10.0
    most_a_day: float = 200.0
    version: int = 0
    machines: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return plain numbers and lists, for JSON."""
        return {
            "mu": self.mu, "tau2": self.tau2, "q": self.q, "s2": self.s2, "s0": self.s0, "months": list(self.months),
            "levels": [list(row) for row in self.levels], "floor": self.floor, "most_a_day": self.most_a_day,
            "version": self.version, "machines": self.machines,
        }  # fmt: skip

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> "FleetRates":
        """Return what as_dict gave."""
        levels = tuple(tuple(row) for row in stored["levels"])
        return cls(**{**stored, "months": tuple(stored["months"]), "levels": levels})


# 2,000 km a season-year with a factor of two either way: planning values, no source. Replaced by the fleet's own.
SHIPPED = FleetRates(mu=math.log(2000.0), tau2=0.5, q=0.15, s2=0.02, s0=0.03, months=normal_months(SHIPPED_MONTHS))
# At 16 km an hour and 50 km a charge (planning values, no source): 125 hours and 40 cycles a season-year.
SHIPPED_HOURS = replace(SHIPPED, mu=math.log(125.0), floor=0.6, most_a_day=16.0)
SHIPPED_CYCLES = replace(SHIPPED, mu=math.log(40.0), floor=0.2, most_a_day=4.0)
