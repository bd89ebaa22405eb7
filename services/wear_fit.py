"""Fleet values of one part type by maximum likelihood over its parts' measurements, replaced parts included.

The misfit of a part counts fully up to 3 K + 8 and beyond that by its logarithm, so that a bad reading does not widen the
whole fleet. What is shipped for the type counts as much as 8 parts would: a fleet of a few stays near it, one of 200 does
not notice (design rule, no source). scipy.optimize is imported when a fit is asked for.
"""

from dataclasses import replace

import numpy as np

from services.wear_gauge import learn
from services.wear_model import Array, Series, Shape, Values, covariance_of

SHIPPED_WEIGHT = 8.0
ROUNDS = 2
_LOG_2PI = np.log(2 * np.pi)


def capped(misfit: Array, count: Array) -> Array:
    """Return the misfit, growing only by its logarithm above 3 K + 8."""
    edge = 3.0 * count + 8.0
    return np.where(misfit <= edge, misfit, edge * (1 + np.log(np.maximum(misfit, edge) / edge)))


def minus_log_likelihood(shape: Shape, values: Values, series: Series, kept: Array) -> float:
    """Return -ln likelihood of all kept readings; an interval counts as its middle with its width as noise."""
    phi = shape.basis(series.u, series.second)
    width = np.where(kept, series.high - series.low, 0.0)
    noise = np.where(np.isnan(series.noise), values.gauge, series.noise) ** 2 + width**2 / 12
    both = kept[:, :, None] & kept[:, None, :]
    covariance = np.where(both, covariance_of(shape, values, series), 0.0)
    covariance += np.eye(kept.shape[1]) * np.where(kept, noise, 1.0)[:, None, :]
    residual = np.where(kept, (series.low + series.high) / 2 - phi @ np.asarray(values.mean), 0.0)
    solved = np.linalg.solve(covariance, residual[..., None])[..., 0]
    _, log_size = np.linalg.slogdet(covariance)
    count = kept.sum(axis=1)
    return float((capped((residual * solved).sum(axis=1), count) + log_size + count * _LOG_2PI).sum() / 2)


def fit_fleet(shape: Shape, series: Series, shipped: Values, *, weight: float = SHIPPED_WEIGHT) -> Values:
    """Return the fleet's values; with no reading, what is shipped. `weight` is how many parts the shipped values stand for.

    Readings that the values found so far would lay aside are left out of the next round, as are half-open intervals.
    """
    usable = series.used & np.isfinite(series.low) & np.isfinite(series.high)
    fitted = shipped
    if not usable.any():
        return shipped
    for _ in range(ROUNDS):
        kept = usable & ~learn(shape, fitted, series).dropped
        fitted = _maximise(shape, series, kept, fitted, shipped, weight)
    return fitted


def _maximise(shape: Shape, series: Series, kept: Array, first: Values, shipped: Values, weight: float) -> Values:
    from scipy.optimize import minimize  # here only: slow to import, and needed by the fleet fit alone

    size, parts = shape.size, int(kept.any(axis=1).sum())
    clean = replace(series, low=np.where(kept, series.low, 0.0), high=np.where(kept, series.high, 0.0))
    scale = np.asarray(shipped.spread)

    def unpack(x: Array) -> Values:
        spreads = np.exp(x[size:])
        return Values(
            tuple(float(m) for m in x[:size] * scale), tuple(float(s) for s in spreads[:size]),
            float(spreads[size]), float(spreads[size + 1]), parts, f"fitted to {parts} parts",
        )  # fmt: skip

    def pack(values: Values) -> Array:
        return np.r_[np.asarray(values.mean) / scale, np.log([*values.spread, values.wander, values.gauge])]

    home = pack(shipped)

    def badness(x: Array) -> float:
        away = x - home
        held = weight * (0.5 * (away[:size] ** 2).sum() + (away[size:] ** 2).sum())
        return minus_log_likelihood(shape, unpack(x), clean, kept) + held

    found = minimize(badness, pack(first), method="L-BFGS-B", bounds=_bounds(home, size), options={"maxiter": 200})
    return unpack(found.x)


def _bounds(home: Array, size: int) -> list[tuple[float, float]]:
    """Means may move by 12 shipped spreads, standard deviations by a factor of 20."""
    reach = np.r_[np.full(size, 12.0), np.full(len(home) - size, np.log(20.0))]
    return [(float(at - far), float(at + far)) for at, far in zip(home, reach, strict=True)]
