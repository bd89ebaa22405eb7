"""Measurements become knowledge: exact numbers, go/no-go gauges as intervals, and what does not fit is laid aside.

An interval reading is matched in its first two moments (expectation propagation, Minka 2001, from memory), which leaves the
Gaussian algebra of wear_model as it is. A reading that lies more than 3.5 standard deviations from what the part's other
readings and its fleet foretell is laid aside, the worst first, two at the most.
"""

from dataclasses import replace

import numpy as np
from scipy.special import log_ndtr

from services.wear_model import Array, Learnt, Series, Shape, Values, covariance_of

GATE_SD = 3.5
MOST_DROPPED = 2
SWEEPS = 40
DAMPING = 0.6
FAINT = 1e4  # a reading that tells nothing weighs this much less than the fleet
_LOG_ROOT_2PI = 0.5 * np.log(2 * np.pi)


def learn(shape: Shape, values: Values, series: Series, *, gate: float = GATE_SD) -> Learnt:
    """Return what the measurements teach about each part, after laying aside those that do not fit. Order does not matter."""
    given, order = series.ordered()
    kept = given.used
    learnt, odds = _learn(shape, values, given, kept)
    for _ in range(MOST_DROPPED):
        worst = odds.argmax(axis=1)
        doubtful = np.take_along_axis(odds, worst[:, None], axis=1)[:, 0] > gate
        if not doubtful.any():
            break
        kept = kept & ~(doubtful[:, None] & (np.arange(kept.shape[1]) == worst[:, None]))
        learnt, odds = _learn(shape, values, given, kept)
    dropped = np.zeros_like(kept)
    np.put_along_axis(dropped, order, given.used & ~kept, axis=1)
    return replace(learnt, dropped=dropped)


def _learn(shape: Shape, values: Values, series: Series, kept: Array) -> tuple[Learnt, Array]:
    """Return what is learnt from the kept ones and how far (sd) each lies from what the others foretell."""
    before = covariance_of(shape, values, series)
    expected = shape.basis(series.u, series.second) @ np.asarray(values.mean)
    noise = np.where(np.isnan(series.noise), values.gauge, series.noise) ** 2
    value, variance = _as_numbers(series, expected, before, noise, kept)
    pull, inverse = solve(before, variance, value - expected, kept)
    mean, spread = left_out(value, variance, pull, inverse)
    off = np.maximum(np.maximum(series.low - mean, mean - series.high), 0.0)
    odds = np.where(kept, off / np.sqrt(spread + noise), 0.0)
    return Learnt(shape, values, series, kept, ~kept, pull, inverse), odds


def solve(before: Array, variance: Array, residual: Array, kept: Array) -> tuple[Array, Array]:
    """Return C^-1 (y - expected) (n, K) and C^-1 (n, K, K), C = before + diag(variance), over the kept ones only."""
    both = kept[:, :, None] & kept[:, None, :]
    eye = np.eye(before.shape[-1])
    covariance = np.where(both, before, 0.0) + eye * np.where(kept, variance, 1.0)[:, None, :]
    inverse = np.linalg.inv(covariance)
    inverse = (inverse + np.swapaxes(inverse, -1, -2)) / 2
    pull = (inverse @ np.where(kept, residual, 0.0)[..., None])[..., 0]
    return pull, inverse * both


def left_out(value: Array, variance: Array, pull: Array, inverse: Array) -> tuple[Array, Array]:
    """Return mean and variance (n, K) of the true wear at each measurement, told by all others alone."""
    own = np.diagonal(inverse, axis1=-2, axis2=-1)
    safe = np.where(own > 0, own, 1.0)
    return value - pull / safe, np.maximum(1 / safe - variance, 0.0)


def _as_numbers(series: Series, expected: Array, before: Array, noise: Array, kept: Array) -> tuple[Array, Array]:
    """Return value and variance (n, K) that stand for each reading: its own, or those that match an interval's moments."""
    value = np.where(series.high > series.low, expected, series.low)
    ranged = kept & (series.high > series.low)
    if not ranged.any():
        return value, noise
    most = FAINT * (np.diagonal(before, axis1=-2, axis2=-1) + noise)
    variance = np.where(ranged, most, noise)
    for _ in range(SWEEPS):
        pull, inverse = solve(before, variance, value - expected, kept)
        mean, spread = left_out(value, variance, pull, inverse)
        new_value, new_variance = _matched(series.low, series.high, mean, spread, noise, most)
        weight = (1 - DAMPING) / variance + DAMPING / new_variance
        moved = ((1 - DAMPING) * value / variance + DAMPING * new_value / new_variance) / weight
        value, variance = np.where(ranged, moved, value), np.where(ranged, 1 / weight, variance)
    return value, variance


def _matched(low: Array, high: Array, mean: Array, spread: Array, noise: Array, most: Array) -> tuple[Array, Array]:
    """Return value and variance that act on true wear N(mean, spread) as a reading inside [low, high) does."""
    wide = spread + noise
    middle, inside = interval_moments((low - mean) / np.sqrt(wide), (high - mean) / np.sqrt(wide))
    gain = spread / wide
    centre = mean + gain * np.sqrt(wide) * middle
    after = spread * noise / wide + gain**2 * wide * inside
    more = np.maximum(1 / np.maximum(after, 1e-300) - 1 / np.maximum(spread, 1e-300), 1 / most)
    told = (centre / np.maximum(after, 1e-300) - mean / np.maximum(spread, 1e-300)) / more
    return np.where(more > 1 / most, told, mean), 1 / more


def interval_moments(low: Array, high: Array) -> tuple[Array, Array]:
    """Return mean and variance of a standard normal value known to lie between low and high (either may be infinite)."""
    turned = low > 0
    near = np.where(turned, -high, low), np.where(turned, -low, high)
    bottom, top = (np.clip(side, -1e150, 1e150) for side in near)
    log_top = log_ndtr(top)
    total = log_top + np.log1p(-np.exp(np.minimum(log_ndtr(bottom) - log_top, -1e-15)))
    at_bottom, at_top = (np.exp(-0.5 * np.minimum(side**2, 1e300) - _LOG_ROOT_2PI - total) for side in (bottom, top))
    mean = at_bottom - at_top
    inside = 1 + np.clip(bottom, -1e9, 1e9) * at_bottom - np.clip(top, -1e9, 1e9) * at_top - mean**2
    return np.where(turned, -mean, mean), np.clip(inside, 1e-8, 1.0)
