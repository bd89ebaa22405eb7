"""How well two readings of a display go together: log weights of labels and of the stretch between two readings.

The rider's own log rate on the season clock, Student-t with a short upper tail; rounding; silent resets; slips of the unit.
Source: the method's prototype (forecast notes, "shortest path over labels"). Arrays are laid out (..., machines).
"""

import math
from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.rates import Numbers
from services.season import DAYS_A_YEAR
from services.units import KM_PER_MILE

MILE = float(KM_PER_MILE)
LABELS = ("ok", "km_as_miles", "miles_as_km", "outlier")
OK, KM_AS_MILES, MILES_AS_KM, OUTLIER = range(4)
SCALES = np.array([1.0, 1.0 / MILE, MILE])  # km of the display = what was typed x scale, by label
LABEL_WEIGHTS = np.log([0.962, 0.010, 0.010]) + np.log(SCALES)
LOOK_BACK = 5  # how many readings back a step may reach: up to four misfits in a row are stepped over
HANDOVER_KM = 20.0  # test rides before the handover
# Pairs of labels of two readings in a row: one slip may follow the same slip, not the other one.
EARLIER = np.array([0, 1, 2, 0, 1, 0, 2])
LATER = np.array([0, 0, 0, 1, 1, 2, 2])
FORBIDDEN = -1e3  # no honest path; finite, so that what a person decided always finds one
NEVER = -1e6  # against a person's verdict
_MISFITS = 0.012
_LOG_RANGE = math.log(math.log(1e5))
_OWNER_LAG_DAYS, _BENCH_LAG_DAYS = 4.0, 1.0
_COARSE_KM = 60.0  # below it a rounded value tells little: 0 may stand for 40
_FLOOR_KM = 5.0
_BELOW, _ABOVE = 4.0, 30.0  # degrees of freedom: people stop riding more often than they ride ten times as much
_MOST_A_DAY, _MOST_AT_ONCE = 200.0, 600.0
_RESETS_A_YEAR, _RESET_FLOOR = 0.008, 1e-5


def _student_constant(freedom: float) -> float:
    return math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2) - 0.5 * math.log(freedom * math.pi)


_BELOW_CONSTANT, _ABOVE_CONSTANT = _student_constant(_BELOW), _student_constant(_ABOVE)


@dataclass(frozen=True)
class Nodes:
    """N readings each of M machines in time order, row 0 the delivery; every array (N + 1, M), `values` (3, N + 1, M).

    values: life-like km by label, the offsets of announced swaps added; counted: km on the display itself, by label; fixed:
    a person's label or -1; run: how many displays ended unread before it; run_day, run_clock, run_start: where its own began.
    """

    day: np.ndarray
    clock: np.ndarray
    shown: np.ndarray
    values: np.ndarray
    counted: np.ndarray
    owner: np.ndarray
    fixed: np.ndarray
    run: np.ndarray
    run_day: np.ndarray
    run_clock: np.ndarray
    run_start: np.ndarray


@dataclass(frozen=True)
class Edges:
    """Log weights of a path stepping from reading j - k to reading j. ridden: (N, LOOK_BACK, pairs, M).

    reset_at: where in `ridden` the display may have begun anew instead, reset: the weights there; skip: (N + 1, M) summed.
    """

    ridden: np.ndarray
    reset_at: tuple[np.ndarray, ...]
    reset: np.ndarray
    skip: np.ndarray


def rounding_km(values: np.ndarray) -> np.ndarray:
    """Return how coarse each value is, read off its digits: 100, 10 or 1 km."""
    return np.where(values % 10 == 0, np.where(values % 100 == 0, 100.0, 10.0), 1.0)


def stretch_weight(km: np.ndarray, centre: Numbers, variance: Numbers) -> np.ndarray:
    """Return the log density of `km` (>= 0) ridden, where log km has centre `centre` and `variance`. All broadcast."""
    log_km = np.log(np.maximum(km, _FLOOR_KM))
    residual = log_km - centre
    above = residual > 0
    freedom = np.where(above, _ABOVE, _BELOW)
    weight = np.log1p(residual * residual / (variance * freedom))
    weight *= -(freedom + 1) / 2
    weight += np.where(above, _ABOVE_CONSTANT, _BELOW_CONSTANT)
    weight -= 0.5 * np.log(variance)
    weight -= log_km
    return weight


def join_weight(km: np.ndarray, centre: Numbers, variance: Numbers, years: Numbers, tolerance: Numbers) -> np.ndarray:
    """Return the log density of `km` between two readings: ridden on, or the same distance looked at twice. All broadcast.

    FORBIDDEN where it falls by more than `tolerance` (km) or is more than anybody rides in `years`.
    """
    weight = stretch_weight(km, centre, variance)
    weight[(km < 0) | (km > _MOST_A_DAY * DAYS_A_YEAR * years + _MOST_AT_ONCE)] = FORBIDDEN
    same = np.nonzero(np.abs(km) <= tolerance)
    width = np.broadcast_to(tolerance, km.shape)[same]
    weight[same] = np.logaddexp(weight[same], np.log(0.04 / width) - 2.0 * (km[same] / width) ** 2)
    return weight


def lag_years(owner: np.ndarray | bool) -> np.ndarray:
    """Return half the time that may lie between looking at a display and the date written, in years."""
    return np.where(owner, _OWNER_LAG_DAYS, _BENCH_LAG_DAYS) / 2 / DAYS_A_YEAR


def skip_weight(shown: Numbers) -> np.ndarray:
    """Return the log weight of a reading that belongs to no stretch: any value, log-uniform."""
    return math.log(_MISFITS) - np.log(np.maximum(shown, _COARSE_KM)) - _LOG_RANGE


def exposure_noise(exposure: Numbers, years: Numbers, spread: Numbers, fleet: FleetRates) -> np.ndarray:
    """Return the variance of the log rate over a stretch, for a rider whose log rate is known to `spread`."""
    return spread + fleet.q * years + np.log1p(fleet.s2 / exposure) + fleet.s0


def _earlier(rows: np.ndarray) -> np.ndarray:
    """(..., N + 1, M) -> (..., N, LOOK_BACK, M): for each reading what stood 1 ... LOOK_BACK rows before (row 0 repeats)."""
    count = rows.shape[-2] - 1
    at = np.maximum(np.arange(1, count + 1)[:, None] - np.arange(1, LOOK_BACK + 1)[None, :], 0)
    return rows[..., at, :]


def edges_between(nodes: Nodes, rate: np.ndarray, spread: np.ndarray, fleet: FleetRates) -> Edges:
    """Return the weights of all steps. rate (M,): log km a season-year; spread (M,): its variance."""
    crossing = _earlier(nodes.run) != nodes.run[1:, None]
    years = np.where(crossing, nodes.run_day[1:, None], _earlier(nodes.day))
    years = np.maximum(nodes.day[1:, None] - years, 0.0) / DAYS_A_YEAR
    season = np.where(crossing, nodes.run_clock[1:, None], _earlier(nodes.clock))
    lag = lag_years(nodes.owner[1:, None] | _earlier(nodes.owner))
    exposure = np.maximum(nodes.clock[1:, None] - season, 0.0) + lag
    variance = exposure_noise(exposure, years, spread, fleet)
    centre = rate + np.log(exposure)
    half_step = rounding_km(nodes.shown) / 2
    half_step[0] = HANDOVER_KM
    tolerance = (2.0 + half_step[1:, None] + _earlier(half_step) + lag * np.exp(rate))[:, :, None]
    before = _earlier(nodes.values)[EARLIER].transpose(1, 2, 0, 3)
    before = np.where(crossing[:, :, None], nodes.run_start[1:, None, None], before)
    after = nodes.values[LATER, 1:].transpose(1, 0, 2)[:, None]
    km = after - before
    ridden = join_weight(km, centre[:, :, None], variance[:, :, None], years[:, :, None], tolerance)
    reset_at = np.nonzero((km <= -tolerance) & ~crossing[:, :, None])
    reset = _reset_weight(reset_at, nodes, years, exposure, variance, rate)
    labels = _label_weights(nodes)[:, LATER][:, None]
    skip = _skips(nodes)
    between = (skip[:-1][:, None] - _earlier(skip))[:, :, None] + labels
    before_delivery = np.arange(1, len(nodes.day))[:, None] < np.arange(1, LOOK_BACK + 1)[None, :]
    between[before_delivery] = -np.inf
    return Edges(ridden + between, reset_at, reset + between[reset_at], skip)


def _reset_weight(
    at: tuple[np.ndarray, ...], nodes: Nodes, years: np.ndarray, exposure: np.ndarray, variance: np.ndarray,
    rate: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """The display began anew somewhere between two readings, most often at zero."""
    row, back, pair, machine = at
    counted = nodes.counted[LATER[pair], row + 1, machine]
    centre = rate[machine] + np.log(exposure[row, back, machine] / 2)
    begun = stretch_weight(counted, centre, variance[row, back, machine] + 0.5)
    chance = np.log(_RESETS_A_YEAR * years[row, back, machine] + _RESET_FLOOR)
    return chance + np.log(0.8 * np.exp(begun) + 0.2 / 4000.0)


def _label_weights(nodes: Nodes) -> np.ndarray:
    """(N, 3, M): the label's own weight, or what a person decided."""
    fixed = nodes.fixed[1:, None]
    decided = np.where(fixed == np.arange(3)[None, :, None], 0.0, NEVER)
    return np.where(fixed >= 0, decided, LABEL_WEIGHTS[None, :, None])


def _skips(nodes: Nodes) -> np.ndarray:
    """(N + 1, M): the summed weight of skipping all readings up to each."""
    each = np.where(nodes.fixed >= 0, NEVER, skip_weight(nodes.shown))
    each[0] = 0.0
    return np.cumsum(each, axis=0)
