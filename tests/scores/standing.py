"""Where a simulated fleet's machines stand on a day by the product's own code, and what the fleet learns from it."""

from dataclasses import dataclass

import numpy as np

from services.fleet_fit import fit_fleet, stretches_of
from services.fleet_rates import SHIPPED, FleetRates
from services.rates import RateState, rates_of
from services.timeline_paths import label_fleet
from services.timeline_rows import UNDECIDED, Machines, Readings, Swaps
from tests.simulator.fleet import Fleet


@dataclass(frozen=True)
class Points:
    """Life points of every machine delivered by a day, sorted by machine and day; the first is its delivery."""

    machine: np.ndarray
    day: np.ndarray
    life_km: np.ndarray
    southern: np.ndarray

    def states(self, rates: FleetRates) -> RateState:
        """The rate of each machine that has a point, in the order of its number."""
        first = np.append(True, self.machine[1:] != self.machine[:-1])
        return rates_of(self.machine, self.day, self.life_km, southern=self.southern[first], fleet=rates)


@dataclass(frozen=True)
class Answers:
    """Right answers to questions for a reading, besides the simulated ones: machine, day, life then."""

    machine: np.ndarray
    day: np.ndarray
    life_km: np.ndarray


NO_ANSWERS = Answers(np.empty(0, dtype=int), np.empty(0), np.empty(0))


def points_on(fleet: Fleet, day: float, rates: FleetRates, only: np.ndarray | None = None) -> Points:
    """Return the timeline of all machines (or of the mask `only`) from the readings typed by `day`, labelled by the product."""
    wanted = fleet.known_on(day) if only is None else fleet.known_on(day) & only[fleet.machine]
    told = fleet.swap_day <= day
    readings = Readings(
        fleet.machine[wanted], fleet.day[wanted], fleet.value[wanted], fleet.source[wanted] == "owner",
        np.full(int(wanted.sum()), UNDECIDED),
    )  # fmt: skip
    swaps = Swaps(fleet.swap_machine[told], fleet.swap_day[told], fleet.old_final[told], fleet.new_start[told])
    machines = Machines(fleet.delivery, np.zeros(fleet.n), fleet.southern)
    labels = label_fleet(readings, swaps, machines, rates, day)
    used = np.isfinite(labels.life_km)
    return merged(fleet, day, readings.machine[used], readings.day[used], labels.life_km[used], only)


def merged(
    fleet: Fleet, day: float, machine: np.ndarray, days: np.ndarray, life_km: np.ndarray, only: np.ndarray | None = None
) -> Points:
    """Return points sorted, with the deliveries up to `day` in front, life never falling."""
    here = fleet.delivery <= day
    delivered = np.flatnonzero(here if only is None else here & only)
    machine = np.concatenate([delivered, machine])
    days = np.concatenate([fleet.delivery[delivered], np.maximum(days, fleet.delivery[machine[len(delivered) :]])])
    life = np.concatenate([np.zeros(len(delivered)), life_km])
    order = np.lexsort((life, days, machine))
    machine, days, life = machine[order], days[order], life[order]
    apart = machine * 1e7
    return Points(machine, days, np.maximum.accumulate(life + apart) - apart, fleet.southern[machine])


def learned(fleet: Fleet, day: float, rounds: int = 2, start: FleetRates = SHIPPED) -> FleetRates:
    """Return the fleet's numbers from its own readings up to `day`: timeline and numbers in turn."""
    rates = start
    for _ in range(rounds):
        points = points_on(fleet, day, rates)
        rates = fit_fleet(stretches_of(points.machine, points.day, points.life_km, points.southern), start)
    return rates
