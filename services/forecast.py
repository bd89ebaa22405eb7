"""Distance on a day and the day of a distance, as quantiles; and whichever limit comes first.

From the state of a machine (services/rates.py): log distance over exposure e, h years on, is Student t (nu = 4) about
m + log e with scale^2 = P drifted h years + log(1 + s2 / e) + s0. The chance that R km more were run by t is
T((m + log e - log R) / scale). Levels are recalibrated by the fleet's own past (services/levels.py).
Elementwise: n machines give what n single calls give. Days are ordinals; levels lie strictly between 0 and 1.
"""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from services.fleet_rates import FleetRates
from services.levels import model_level, shown_level
from services.rates import Numbers, RateState, drifted, stretch_noise
from services.season import DAYS_A_YEAR, season_clock
from services.student import t_cdf, t_quantile

LEVELS = (0.1, 0.5, 0.9)
HORIZON_DAYS = 730.0
BISECTIONS = 18
FARTHEST = 1e9  # stands for a limit that is never reached
_CHUNK = 16_384
_NO_EXPOSURE = 1e-12


def log_distance(
    state: RateState, days: Numbers, fleet: FleetRates, begun: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Return (location, scale) of the log distance from the last reading to `days`, which lie after it.

    begun: the season clock at the last reading, where it is known already.
    """
    begun = season_clock(fleet.months, state.last_day, state.southern) if begun is None else begun
    exposure = np.maximum(season_clock(fleet.months, days, state.southern) - begun, _NO_EXPOSURE)
    years = (days - np.asarray(state.anchor_day)) / DAYS_A_YEAR
    spread2 = drifted(state.P, np.maximum(years, 0.0), fleet) + stretch_noise(exposure, fleet)
    return state.m + np.log(exposure), np.sqrt(spread2)


def expected_exposure(state: RateState, left_km: Numbers) -> np.ndarray:
    """Return in how many season-years the rider is expected to run `left_km`; next to nothing where none is left."""
    return np.maximum(left_km, 0.0) / np.exp(state.m)


def chance_by(state: RateState, days: Numbers, target_km: Numbers, fleet: FleetRates) -> np.ndarray:
    """Return the probability that life has reached `target_km` by `days`, recalibrated; 1 where the last reading shows it."""
    left = np.asarray(target_km) - state.last_km
    reached, earliest = left <= 0, state.last_day + left / fleet.most_a_day
    location, scale = log_distance(state, days, fleet)
    asked = t_cdf((location - np.log(np.where(reached, 1.0, left))) / scale)
    chance = shown_level(fleet.levels, asked, state.stretches, expected_exposure(state, left))
    return np.where(reached, 1.0, np.where(days < earliest, 0.0, chance))


def distance_on(state: RateState, days: Numbers, levels: Sequence[float], fleet: FleetRates) -> np.ndarray:
    """Return the quantiles of life (km) on `days`, (..., levels). Up to the last reading it is the last reading.

    state and days broadcast: one machine and many days for a chart, or a day for each machine.
    """
    location, scale = log_distance(state, days, fleet)
    most = fleet.most_a_day * np.maximum(days - np.asarray(state.last_day), 0.0)
    after = np.asarray(days) > state.last_day
    exposure = np.exp(location - state.m)
    rows = []
    for level in levels:
        # A distance is beyond its p-quantile where a date falls before its (1 - p)-quantile.
        asked = t_quantile(1.0 - model_level(fleet.levels, 1.0 - level, state.stretches, exposure))
        rows.append(state.last_km + np.where(after, np.minimum(np.exp(location + scale * asked), most), 0.0))
    return np.stack(rows, axis=-1)


def distance_band(state: RateState, days: Numbers, fleet: FleetRates) -> np.ndarray:
    """Return (at least, about, hardly more than) of life on `days`, (..., 3): the last reading as a fact, 50 % and 90 %.

    A parked machine lies below any symmetric band, so the lower end is what was read.
    """
    band = distance_on(state, days, (0.5, 0.9), fleet)
    floor = np.broadcast_to(state.last_km, band.shape[:-1])
    return np.concatenate([np.asarray(floor)[..., None], band], axis=-1)


def date_of(
    state: RateState, target_km: Numbers, levels: Sequence[float], horizon: Numbers, fleet: FleetRates
) -> np.ndarray:
    """Return the days by which life reaches `target_km` with each probability, (..., levels); inf: after `horizon`.

    horizon: a day, two years from today as a rule. A quantile may lie before today: it is probably due already. A target
    that the last reading shows as reached gives the day of that reading: look in the timeline for when it was.
    """
    target, horizon = np.asarray(target_km, dtype=float), np.asarray(horizon, dtype=float)
    shape = np.broadcast_shapes(np.shape(state.m), target.shape, horizon.shape)
    flat = state_of_shape(state, shape).take(np.ones(shape, dtype=bool))
    left = np.minimum(np.broadcast_to(target, shape).ravel() - flat.last_km, FARTHEST)
    ends = np.broadcast_to(horizon, shape).ravel()
    answer = np.empty((left.size, len(levels)))
    chunk = max(_CHUNK // max(len(levels), 1), 1)
    for begin in range(0, left.size, chunk):
        part = slice(begin, begin + chunk)
        some = flat.take(part)
        ahead = expected_exposure(some, left[part])
        asked = [t_quantile(model_level(fleet.levels, level, some.stretches, ahead)) for level in levels]
        upright = some.take((slice(None), None))  # all levels at once
        answer[part] = _reached(
            upright, left[part, None], np.reshape(asked, (len(levels), -1)).T, ends[part, None], fleet
        )
    return answer.reshape(*shape, len(levels))


def state_of_shape(state: RateState, shape: tuple[int, ...]) -> RateState:
    """Return the state broadcast to one shape, for instance one machine's for all its tasks."""
    columns = (getattr(state, column.name) for column in fields(state))
    return RateState(*(np.broadcast_to(np.asarray(column), shape) for column in columns))


def _reached(
    state: RateState, left: np.ndarray, t_asked: np.ndarray, horizon: np.ndarray, fleet: FleetRates
) -> np.ndarray:
    """The day by which `left` km are run with the probability of `t_asked`, by bisection; inf after the horizon."""
    log_left = np.log(np.where(left > 0, left, 1.0))
    begun = season_clock(fleet.months, state.last_day, state.southern)

    def is_reached(days: np.ndarray) -> np.ndarray:
        location, scale = log_distance(state, days, fleet, begun)
        return location - log_left >= t_asked * scale

    earliest = state.last_day + np.maximum(left, 0.0) / fleet.most_a_day
    low, high = earliest, np.maximum(horizon, earliest)
    beyond = (earliest > horizon) | ~is_reached(high)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        done = is_reached(middle)
        low, high = np.where(done, low, middle), np.where(done, middle, high)
    return np.where(left <= 0, state.last_day, np.where(beyond, np.inf, high))
