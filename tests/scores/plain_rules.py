"""The rules of thumb that a workshop uses instead: when a distance is reached, as one date, without a range."""

import numpy as np

from tests.scores.standing import Points
from tests.simulator.fleet import FIRST_DAY, LENGTH_SHARES, LENGTHS_KM, Fleet, Tasks

YEAR = 365.25
ENOUGH_DAYS = 30.0


def fixed_half_year(fleet: Fleet, tasks: Tasks, as_of: float, seed: int) -> np.ndarray:
    """Six months after the interval began, which is when true life passed the target less the task's interval."""
    lengths = np.random.default_rng([seed, int(as_of)]).choice(LENGTHS_KM, fleet.n, p=LENGTH_SHARES)[tasks.machine]
    began = np.maximum(tasks.target_km - lengths, 0.0)
    columns = np.array([np.searchsorted(fleet.life[k], km) for k, km in zip(tasks.machine, began, strict=True)])
    return np.maximum(columns + FIRST_DAY, fleet.delivery[tasks.machine]) + YEAR / 2


def fleet_average(points: Points) -> float:
    """km a day of all machines together."""
    first, last = _ends(points)
    return float(points.life_km[last].sum() / max((points.day[last] - points.day[first]).sum(), 1.0))


def overall_average(points: Points, tasks: Tasks, typical: float) -> np.ndarray:
    """On from the last point at the average since delivery; below 30 days at the fleet's."""
    first, last = _ends(points)
    span = points.day[last] - points.day[first]
    own = points.life_km[last] / np.maximum(span, 1.0)
    return _onward(points, last, tasks, np.where((span >= ENOUGH_DAYS) & (own > 0), own, typical))


def last_two(points: Points, tasks: Tasks, typical: float) -> np.ndarray:
    """On from the last point at the pace between the last two; at the fleet's where that is no pace."""
    first, last = _ends(points)
    before = np.maximum(last - 1, first)
    span = points.day[last] - points.day[before]
    own = (points.life_km[last] - points.life_km[before]) / np.maximum(span, 1.0)
    return _onward(points, last, tasks, np.where((span >= 1.0) & (own > 0), own, typical))


def at_fleet_average(points: Points, tasks: Tasks, typical: float) -> np.ndarray:
    """On from the last point at the pace of the fleet."""
    return _onward(points, _ends(points)[1], tasks, np.full(len(tasks.machine), typical))


def _onward(points: Points, last: np.ndarray, tasks: Tasks, pace: np.ndarray) -> np.ndarray:
    left = np.maximum(tasks.target_km - points.life_km[last], 0.0)
    return points.day[last] + left / np.maximum(pace, 1e-6)


def _ends(points: Points) -> tuple[np.ndarray, np.ndarray]:
    first = np.flatnonzero(np.append(True, points.machine[1:] != points.machine[:-1]))
    return first, np.append(first[1:], len(points.machine)) - 1


def raw_points(fleet: Fleet, day: float, only: np.ndarray) -> Points:
    """Readings as typed of the machines in the mask `only`, without a thought: the last of a day last."""
    known = fleet.known_on(day) & only[fleet.machine]
    delivered = np.flatnonzero((fleet.delivery <= day) & only)
    machine = np.concatenate([delivered, fleet.machine[known]])
    days = np.concatenate([fleet.delivery[delivered], fleet.day[known]])
    life = np.concatenate([np.zeros(len(delivered)), fleet.value[known]])
    order = np.lexsort((np.arange(len(machine)), days, machine))
    return Points(machine[order], days[order], life[order], fleet.southern[machine[order]])
