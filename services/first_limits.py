"""Whichever comes first over distance, hours, charge cycles and the calendar: as quantiles, and which trigger it was.

All meters of a trike run by the same riding, so they are one clock: at one level of riding the first limit is the one that
this level reaches first. The calendar limit is certain at its day.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from services.fleet_rates import FleetRates
from services.forecast import BISECTIONS, FARTHEST, date_of, expected_exposure, log_distance, state_of_shape
from services.levels import model_level
from services.rates import Numbers, RateState
from services.student import t_cdf

CALENDAR = "date"
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True)
class Clock:
    """A meter with its state, and the limits reckoned on it: trigger -> value of this meter at which it falls due.

    targets (n,): nan where it does not apply. A trigger without a meter of its own ("hours" of a trike that counts only km)
    is put here converted, with `spread`: the standard deviation of the log of what is left.
    """

    state: RateState
    fleet: FleetRates
    targets: Mapping[str, Numbers]
    spread: Mapping[str, Numbers] = field(default_factory=dict)


@dataclass(frozen=True)
class First:
    """days (..., levels): inf after the horizon; trigger (...,): place in `names` of what decides at the median, -1: none."""

    days: np.ndarray
    trigger: np.ndarray
    names: tuple[str, ...]


def first_of_limits(
    clocks: Sequence[Clock], levels: Sequence[float], horizon: Numbers, calendar_day: Numbers = np.nan
) -> First:
    """Return when the first of all limits is reached, for n tasks at once, and the trigger that decides at the median.

    calendar_day (n,): certain, nan where there is none; it holds beyond the horizon too.
    """
    asked = (*levels, 0.5)
    names = [CALENDAR]
    calendar = np.asarray(calendar_day, dtype=float)
    calendar = np.where(np.isnan(calendar), np.inf, calendar)
    days = calendar[..., None] + np.zeros(len(asked))
    trigger = np.where(np.isfinite(calendar), 0, -1)
    for clock in clocks:
        reached, nearest = _reached(clock, asked, horizon)
        sooner = reached[..., -1] < days[..., -1]
        trigger = np.where(sooner, nearest + len(names), trigger)
        days = np.minimum(days, reached)
        names += clock.targets
    return First(days[..., :-1], trigger, tuple(names))


def _reached(clock: Clock, levels: Sequence[float], horizon: Numbers) -> tuple[np.ndarray, np.ndarray]:
    """(days (..., levels) of the nearest limit on one clock, its place among the clock's targets)."""
    targets = np.stack(np.broadcast_arrays(*(np.asarray(t, dtype=float) for t in clock.targets.values())), axis=-1)
    spread = np.stack(
        np.broadcast_arrays(*(np.asarray(clock.spread.get(name, 0.0)) for name in clock.targets)), axis=-1
    )
    last = np.asarray(clock.state.last_km)
    left = np.where(np.isnan(targets), FARTHEST, targets - last[..., None])
    nearest = np.argmin(left, axis=-1)
    spread = np.where(np.isnan(targets), 0.0, spread)
    days = date_of(clock.state, last + left.min(axis=-1), levels, horizon, clock.fleet)
    unsure = spread.any(axis=-1)
    if unsure.any():
        nodes = [np.where(left > 0, left * np.exp(spread * node), left).min(axis=-1) for node in _NODES]
        state = state_of_shape(clock.state, unsure.shape).take(unsure)
        ends = np.broadcast_to(horizon, unsure.shape)[unsure]
        days[unsure] = _mixed(state, clock.fleet, np.stack(nodes, axis=-1)[unsure], levels, ends)
    return days, nearest


def _mixed(
    state: RateState, fleet: FleetRates, left: np.ndarray, levels: Sequence[float], horizon: Numbers
) -> np.ndarray:
    """Days (..., levels) of a distance known up to its nodes: left (..., nodes), the nodes' chances weighed."""
    log_left = np.log(np.where(left > 0, left, 1.0))
    earliest = np.asarray(state.last_day)[..., None] + np.maximum(left, 0.0) / fleet.most_a_day

    def chance(days: np.ndarray) -> np.ndarray:
        location, scale = log_distance(state, days, fleet)
        by_node = t_cdf((location[..., None] - log_left) / scale[..., None])
        return np.where(left <= 0, 1.0, np.where(days[..., None] < earliest, 0.0, by_node)) @ _WEIGHTS

    columns = []
    ahead = expected_exposure(state, left[..., len(_NODES) // 2])
    for shown in levels:
        level = model_level(fleet.levels, shown, state.stretches, ahead)
        low = earliest.min(axis=-1)
        high = np.maximum(horizon, low)
        beyond = (low > horizon) | (chance(high) < level)
        for _ in range(BISECTIONS):
            middle = 0.5 * (low + high)
            done = chance(middle) >= level
            low, high = np.where(done, low, middle), np.where(done, middle, high)
        at_once = chance(earliest.min(axis=-1)) >= level
        columns.append(np.where(at_once, earliest.min(axis=-1), np.where(beyond, np.inf, high)))
    return np.stack(columns, axis=-1)
