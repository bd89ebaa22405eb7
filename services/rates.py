"""How fast a machine runs: a robust filter on the log rate by the season clock, started from its fleet.

State per machine: mean m and variance P of log(distance a season-year). An odd stretch (a tour, an illness) counts less
(one reweighting step of Student's t, nu = 4), and leaves the rate less known, for the rider may have changed (the posterior
scale of a Student-t filter: Roth, Ozkan and Gustafsson 2013, from memory; on the simulated fleets it brings dates at 180 days
7 % nearer). The rate drifts, yet is never less known than a stranger's unless a surprise made it so. All functions are
elementwise: n machines give what n single calls give. Kilometres stand for the unit of any meter (hours, cycles).
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from services.fleet_rates import FleetRates
from services.season import DAYS_A_YEAR, season_clock
from services.student import NU

LEAST_DAYS = 10.0
_LEAST_EXPOSURE = 1e-6

Numbers = np.ndarray | float


@dataclass(frozen=True)
class RateState:
    """What is known of n machines (arrays of one shape, or numbers): m and P of the log rate a season-year;

    last: the day and life of the last accepted reading; anchor: where the last stretch that was folded in ended;
    southern: whether the seasons are shifted by six months; stretches: how many were folded in.
    """

    m: Numbers
    P: Numbers
    last_day: Numbers
    last_km: Numbers
    anchor_day: Numbers
    anchor_km: Numbers
    southern: np.ndarray | bool = False
    stretches: Numbers = 0

    def take(self, index: Any) -> "RateState":
        """Return the states at `index` (integers, slice or mask), for instance one for each task of its machine."""
        return RateState(*(np.asarray(getattr(self, field.name))[index] for field in fields(self)))

    @classmethod
    def stacked(cls, states: Sequence["RateState"]) -> "RateState":
        """Return the states of n single machines as one of arrays (n,), in their order."""
        return cls(*(np.array([getattr(state, field.name) for state in states]) for field in fields(cls)))

    def as_dict(self) -> dict[str, Any]:
        """Return one machine's numbers, for JSON; RateState(**stored) reads them."""
        numbers = {field.name: float(getattr(self, field.name)) for field in fields(self) if field.name != "southern"}
        return {**numbers, "southern": bool(self.southern)}


def start_rate(day: Numbers, km: Numbers = 0.0, *, southern: np.ndarray | bool = False, fleet: FleetRates) -> RateState:
    """Return what is known at delivery: the fleet's rate and its spread."""
    day, km, southern = np.broadcast_arrays(np.asarray(day, dtype=float), np.asarray(km, dtype=float), southern)
    return RateState(
        np.full(day.shape, fleet.mu), np.full(day.shape, fleet.tau2), day, km, day, km, southern, np.zeros(day.shape)
    )


def change_of_owner(state: RateState, fleet: FleetRates) -> RateState:
    """Return the state under a new rider: half way back to the fleet, and as little known as a stranger's.

    A reasonable default, not measured (forecast notes, from memory); life is unchanged.
    """
    spread = np.full(np.shape(state.m), fleet.tau2)
    middle = (np.asarray(state.m) + fleet.mu) / 2
    return RateState(middle, spread, state.last_day, state.last_km, state.last_day, state.last_km, state.southern)


def drifted(P: Numbers, years: Numbers, fleet: FleetRates) -> np.ndarray:
    """Return the variance of the log rate `years` later: it grows, never beyond the fleet's spread."""
    return np.minimum(P + fleet.q * years, np.maximum(P, fleet.tau2))


def stretch_noise(exposure: Numbers, fleet: FleetRates) -> np.ndarray:
    """Return the variance of one stretch's log rate about the rider's: large when short, never nothing."""
    return np.log1p(fleet.s2 / exposure) + fleet.s0


def absorb(
    m: Numbers, P: Numbers, km: Numbers, exposure: Numbers, years: Numbers, fleet: FleetRates
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return (m, P, residual, variance of the residual) after a stretch of `km` over `exposure` season-years, `years` long."""
    P = drifted(P, years, fleet)
    noise = stretch_noise(exposure, fleet)
    residual = np.log(np.maximum(km, fleet.floor) / exposure) - m
    variance = P + noise
    surprise = (NU + residual * residual / variance) / (NU + 1.0)
    gain = P / (P + noise * surprise)
    return m + gain * residual, P * (1.0 - gain) * surprise, residual, variance


def fold(state: RateState, day: Numbers, km: Numbers, *, fleet: FleetRates) -> RateState:
    """Return the state after an accepted reading: life `km` on `day`, not before the last reading.

    Less than ten days after the anchor it only moves the last reading: short stretches add up until they tell something.
    """
    day = np.maximum(np.asarray(day, dtype=float), state.last_day)
    km = np.maximum(np.asarray(km, dtype=float), state.last_km)
    counts = day - state.anchor_day >= LEAST_DAYS
    clock = season_clock(fleet.months, day, state.southern) - season_clock(
        fleet.months, state.anchor_day, state.southern
    )
    years = (day - state.anchor_day) / DAYS_A_YEAR
    m, P, _, _ = absorb(state.m, state.P, km - state.anchor_km, np.maximum(clock, _LEAST_EXPOSURE), years, fleet)
    return RateState(
        np.where(counts, m, state.m), np.where(counts, P, state.P), day, km, np.where(counts, day, state.anchor_day),
        np.where(counts, km, state.anchor_km), state.southern, state.stretches + counts,
    )  # fmt: skip


def rate_of(
    days: Sequence[float] | np.ndarray,
    life_km: Sequence[float] | np.ndarray,
    *,
    southern: bool = False,
    fleet: FleetRates,
) -> RateState:
    """Return one machine's state from its life points in time order; the first is its delivery."""
    state = start_rate(float(days[0]), float(life_km[0]), southern=southern, fleet=fleet)
    for day, km in zip(days[1:], life_km[1:], strict=True):
        state = fold(state, day, km, fleet=fleet)
    return state


def rates_of(
    machine: np.ndarray,
    days: np.ndarray,
    life_km: np.ndarray,
    *,
    southern: np.ndarray | bool = False,
    fleet: FleetRates,
    new_rider: np.ndarray | None = None,
) -> RateState:
    """Return the states of all machines from their life points, sorted by (machine, day); one entry for each machine.

    machine (k,) numbers, days and life_km (k,): the first point of each is its delivery. southern: (n,) by machine.
    new_rider (k,): at which points another rider begins (new_rider_at); none: nowhere.
    """
    first, count = point_runs(machine)
    southern = np.broadcast_to(np.asarray(southern), count.shape)
    order = np.argsort(-count, kind="stable")
    first, count, southern = first[order], count[order], southern[order]
    state = start_rate(days[first], life_km[first], southern=southern, fleet=fleet)
    columns = {field.name: np.array(getattr(state, field.name)) for field in fields(state)}
    for rank in range(1, int(count.max(initial=1))):
        still = int(np.searchsorted(-count, -rank, side="left"))
        at = first[:still] + rank
        part = RateState(**{name: column[:still] for name, column in columns.items()})
        moved = fold(part, days[at], life_km[at], fleet=fleet)
        if new_rider is not None and new_rider[at].any():
            moved = _where(new_rider[at], change_of_owner(moved, fleet), moved)
        for name, column in columns.items():
            column[:still] = getattr(moved, name)
    back = np.argsort(order, kind="stable")
    return RateState(**{name: column[back] for name, column in columns.items()})


def new_rider_at(
    machine: np.ndarray, days: np.ndarray, changed: Sequence[int], changed_on: Sequence[float]
) -> np.ndarray:
    """Return at which points (k,) another rider begins: for each change of owner the nearest point of that machine.

    So the stretch across a change counts for whoever had more of it. changed: numbers of machines that stand in `machine`,
    changed_on: the days. A change at the first point, or before it, is no change.
    """
    at = np.zeros(len(machine), dtype=bool)
    for number, day in zip(changed, changed_on, strict=True):
        begin, end = np.searchsorted(machine, [number, number + 1])
        at[begin + int(np.argmin(np.abs(days[begin:end] - day)))] = True
    first, _ = point_runs(machine)
    at[first] = False
    return at


def _where(mask: np.ndarray, those: RateState, others: RateState) -> RateState:
    """The states of `those` where the mask says so, of `others` elsewhere."""
    names = (field.name for field in fields(RateState))
    return RateState(*(np.where(mask, getattr(those, name), getattr(others, name)) for name in names))


def point_runs(machine: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (index of the first point, number of points) of each machine in a sorted column of machine numbers."""
    first = np.flatnonzero(np.append(True, machine[1:] != machine[:-1])) if len(machine) else np.empty(0, dtype=int)
    return first, np.diff(np.append(first, len(machine)))
