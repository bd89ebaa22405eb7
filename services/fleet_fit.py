"""Learning the fleet's numbers from its own readings: month weights, five numbers by maximum likelihood, and levels.

Only stretches between accepted readings are used, never true due dates. Runs in the background, never on a page.
"""

from dataclasses import dataclass, replace

import numpy as np

from services.fleet_rates import SHIPPED, FleetRates
from services.levels import fit_levels
from services.rates import LEAST_DAYS, absorb, point_runs
from services.season import DAYS_A_YEAR, learn_months, years_by_month
from services.student import t_cdf, t_log_density

# How far each number may be drawn from the shipped one: standard deviations of mu and of the logs of the others.
_PULL = np.array([0.7, 0.5, 0.5, 0.7, 0.7])
_STEPS = 300
_SMALLEST, _LARGEST = 1e-6, 1e3


@dataclass(frozen=True)
class Stretches:
    """The stretches of a fleet between readings at least ten days apart; rows sorted by machine, then day.

    machine (k,), km (k,), years (k,) of the calendar, months (k, 12) years in each month of the northern profile,
    rank (k,): the how-manieth stretch of its machine, from 0.
    """

    machine: np.ndarray
    km: np.ndarray
    years: np.ndarray
    months: np.ndarray
    rank: np.ndarray


@dataclass(frozen=True)
class _Steps:
    """Stretches padded to (machines, most stretches), machines with most stretches first; `still[r]` have a rank r."""

    km: np.ndarray
    exposure: np.ndarray
    years: np.ndarray
    still: np.ndarray


def stretches_of(
    machine: np.ndarray, days: np.ndarray, life_km: np.ndarray, southern: np.ndarray | bool = False
) -> Stretches:
    """Return the stretches between life points, sorted by (machine, day); the first point of a machine is its delivery.

    southern: by point, or one for all. Points less than ten days after the last used one wait for the next.
    """
    first, count = point_runs(machine)
    used = np.zeros(len(machine), dtype=bool)
    before = np.full(len(machine), -1)
    anchor = first.copy()
    for rank in range(1, int(count.max(initial=1))):
        has = count > rank
        at = first[has] + rank
        counts = days[at] - days[anchor[has]] >= LEAST_DAYS
        before[at] = anchor[has]
        used[at] = counts
        anchor[has] = np.where(counts, at, anchor[has])
    ends = np.flatnonzero(used)
    starts = before[ends]
    half = np.broadcast_to(np.asarray(southern), machine.shape)[ends]
    owner = machine[ends]
    begun, length = point_runs(owner)
    return Stretches(
        owner, life_km[ends] - life_km[starts], (days[ends] - days[starts]) / DAYS_A_YEAR,
        years_by_month(days[starts], days[ends], half), np.arange(len(owner)) - np.repeat(begun, length),
    )  # fmt: skip


def fit_fleet(stretches: Stretches, shipped: FleetRates = SHIPPED) -> FleetRates:
    """Return the fleet's numbers: months, then mu, tau2, q, s2, s0 by maximum likelihood of each next stretch, then levels.

    Drawn softly to `shipped`, so that thirty machines serve as well as two thousand; without a stretch it is `shipped`.
    """
    if not len(stretches.km):
        return shipped
    from scipy.optimize import minimize

    _, row = np.unique(stretches.machine, return_inverse=True)
    months = learn_months(row, stretches.months, stretches.km, float(np.exp(shipped.mu)), shipped.months)
    steps = _padded(row, stretches, months)
    start = _as_vector(shipped)

    def cost(vector: np.ndarray) -> float:
        pull = 0.5 * np.sum(((vector - start) / _PULL) ** 2)
        return float(pull - _log_likelihood(steps, _with_vector(shipped, vector)))

    simplex = np.vstack([start, start + np.diag(_PULL / 2)])
    options = {"maxiter": _STEPS, "xatol": 1e-3, "fatol": 1e-2, "initial_simplex": simplex}
    best = minimize(cost, start, method="Nelder-Mead", options=options).x
    fleet = replace(_with_vector(shipped, best), months=months, machines=int(row.max()) + 1)
    return replace(fleet, levels=fit_levels(*past_levels(stretches, fleet)))


def past_levels(stretches: Stretches, fleet: FleetRates) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return for every past stretch (share of dates that the model put before it, stretches known before, exposure).

    The first is 1 - PIT of its distance, from what was known beforehand.
    """
    _, row = np.unique(stretches.machine, return_inverse=True)
    steps = _padded(row, stretches, fleet.months)
    past, known, exposure = [np.empty(0)], [np.empty(0)], [np.empty(0)]
    for rank, (residual, variance) in enumerate(_walk(steps, fleet)):
        past.append(1.0 - t_cdf(residual / np.sqrt(variance)))
        known.append(np.full(len(residual), rank))
        exposure.append(steps.exposure[: len(residual), rank])
    return np.concatenate(past), np.concatenate(known), np.concatenate(exposure)


def _padded(row: np.ndarray, stretches: Stretches, months: tuple[float, ...]) -> _Steps:
    counts = np.bincount(row)
    order = np.argsort(-counts, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    shape = (len(counts), int(counts.max(initial=0)))
    exposure = np.maximum(stretches.months @ np.asarray(months), 1e-6)

    def table(values: np.ndarray) -> np.ndarray:
        padded = np.ones(shape)
        padded[place[row], stretches.rank] = values
        return np.asfortranarray(padded)

    still = np.array([np.count_nonzero(counts > rank) for rank in range(shape[1])])
    return _Steps(table(stretches.km), table(exposure), table(stretches.years), still)


def _walk(steps: _Steps, fleet: FleetRates) -> list[tuple[np.ndarray, np.ndarray]]:
    """(residual, its variance) of every next stretch, rank by rank, with what was known before it."""
    count = steps.km.shape[0]
    m, P = np.full(count, fleet.mu), np.full(count, fleet.tau2)
    told = []
    for rank, still in enumerate(steps.still):
        m, P, residual, variance = absorb(
            m[:still], P[:still], steps.km[:still, rank], steps.exposure[:still, rank], steps.years[:still, rank], fleet
        )
        told.append((residual, variance))
    return told


def _log_likelihood(steps: _Steps, fleet: FleetRates) -> float:
    total = 0.0
    for residual, variance in _walk(steps, fleet):
        total += float(np.sum(t_log_density(residual * residual / variance) - 0.5 * np.log(variance)))
    return total


def _as_vector(fleet: FleetRates) -> np.ndarray:
    return np.array([fleet.mu, *np.log([fleet.tau2, fleet.q, fleet.s2, fleet.s0])])


def _with_vector(shipped: FleetRates, vector: np.ndarray) -> FleetRates:
    tau2, q, s2, s0 = np.clip(np.exp(vector[1:]), _SMALLEST, _LARGEST)
    return replace(shipped, mu=float(vector[0]), tau2=float(tau2), q=float(q), s2=float(s2), s0=float(s0))
