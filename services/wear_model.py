"""Wear of one part type: y(u) = sum_b theta_b phi_b(u) + Brownian motion in a clock g(u) + gauge noise, exact Gaussian algebra.

theta_b ~ N(mean_b, spread_b^2) over the fleet of the type; the Brownian part has variance wander^2 g(u), the gauge standard
deviation gauge. n parts with up to K measurements are reckoned at once: arrays (n, K), padded where `used` is False.
The law is a random-coefficient degradation model (Lu & Meeker 1993, Technometrics 35, from memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

Array = np.ndarray
LOG_SCALE_YEARS = 0.5


@dataclass(frozen=True)
class Shape:
    """How wear grows along its axis u: basis(u, second) -> (..., B) and the clock g(u) of its random part."""

    code: str
    basis: Callable[[Array, Array], Array]
    clock: Callable[[Array], Array]
    size: int


def _log_years(u: Array) -> Array:
    return np.log1p(u / LOG_SCALE_YEARS)


SHAPES = {
    shape.code: shape
    for shape in (
        Shape("straight", lambda u, _: np.stack([np.ones_like(u), u], axis=-1), lambda u: u, 2),
        Shape("leak", lambda u, _: u[..., None], lambda u: u, 1),
        Shape("logarithm", lambda u, _: np.stack([np.ones_like(u), _log_years(u)], axis=-1), _log_years, 2),
        Shape("battery", lambda u, cycles: np.stack([np.sqrt(u), cycles], axis=-1), lambda u: u, 2),
    )
}


@dataclass(frozen=True)
class Values:
    """What the fleet of a part type tells: means and spreads of theta (B each), wander, gauge; from how many parts."""

    mean: tuple[float, ...]
    spread: tuple[float, ...]
    wander: float
    gauge: float
    parts: int = 0
    source: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return plain numbers and words, for JSON."""
        return {
            "mean": list(self.mean), "spread": list(self.spread), "wander": self.wander, "gauge": self.gauge,
            "parts": self.parts, "source": self.source,
        }  # fmt: skip

    @classmethod
    def from_dict(cls, kept: dict[str, Any]) -> "Values":
        """Return the values that as_dict wrote. Raises KeyError on a missing one."""
        return cls(
            tuple(kept["mean"]), tuple(kept["spread"]), kept["wander"], kept["gauge"], kept["parts"], kept["source"]
        )


@dataclass(frozen=True)
class Point:
    """One measurement on the wear scale at axis value u: low == high for a number, low < high for a go/no-go gauge.

    `second` is a second driver (100 charge cycles), `noise` the standard deviation of this reading if it is not the fleet's.
    `life` is 0 in the life asked about, 1, 2, ... in earlier ones (before new pads, before air was put in): they share theta.
    """

    u: float
    low: float
    high: float
    second: float = 0.0
    noise: float | None = None
    life: int = 0


@dataclass(frozen=True)
class Series:
    """Measurements of n parts, (n, K): axis u, low, high, second driver, noise (nan: the fleet's), used, life; rate (n,) of
    the second driver per unit of u from the last one on."""

    u: Array
    low: Array
    high: Array
    second: Array
    noise: Array
    used: Array
    life: Array
    rate: Array

    def ordered(self) -> tuple["Series", Array]:
        """Return the same sorted along the axis, unused last, and the order (n, K) that did it."""
        order = np.lexsort((self.high, self.low, self.u, self.life, ~self.used), axis=-1)
        columns = (self.u, self.low, self.high, self.second, self.noise, self.used, self.life)
        taken = (np.take_along_axis(column, order, axis=1) for column in columns)
        return Series(*taken, rate=self.rate), order


def series_of(parts: Sequence[Sequence[Point]], rates: Sequence[float] | float = 0.0) -> Series:
    """Return the padded arrays of several parts' measurements; `rates` is the future growth of `second` per unit of u."""
    shape = (len(parts), max([1, *map(len, parts)]))
    u, low, high, second = (np.zeros(shape) for _ in range(4))
    life = np.zeros(shape, int)
    noise, used = np.full(shape, np.nan), np.zeros(shape, bool)
    for row, points in enumerate(parts):
        for column, point in enumerate(points):
            u[row, column], low[row, column], high[row, column] = point.u, point.low, point.high
            second[row, column], used[row, column], life[row, column] = point.second, True, point.life
            noise[row, column] = np.nan if point.noise is None else point.noise
    return Series(u, low, high, second, noise, used, life, np.broadcast_to(np.asarray(rates, float), shape[:1]))


def prior_covariance(
    values: Values, phi_a: Array, phi_b: Array, g_a: Array, g_b: Array, same_life: Array | bool = True
) -> Array:
    """Return the covariance (n, A, B') of true wear at two sets of axis values before any measurement.

    Lives share theta; the random part begins anew with each: it counts where `same_life`.
    """
    shared = (phi_a * np.asarray(values.spread) ** 2) @ np.swapaxes(phi_b, -1, -2)
    return shared + values.wander**2 * np.minimum(g_a[..., :, None], g_b[..., None, :]) * same_life


def covariance_of(shape: Shape, values: Values, series: Series) -> Array:
    """Return the prior covariance (n, K, K) of true wear at the measurements."""
    phi, g = shape.basis(series.u, series.second), shape.clock(series.u)
    return prior_covariance(values, phi, phi, g, g, series.life[:, :, None] == series.life[:, None, :])


@dataclass(frozen=True)
class Learnt:
    """What measurements taught about n parts: sorted series, pull (n, K) and inverse covariance (n, K, K); kept, dropped.

    `dropped` (n, K) is in the order the measurements were given: those that no longer count because they do not fit.
    """

    shape: Shape
    values: Values
    series: Series
    kept: Array
    dropped: Array
    pull: Array
    inverse: Array

    def take(self, rows: Array | Sequence[int]) -> "Learnt":
        """Return what was learnt about these parts, in this order; a part may be asked for more than once."""
        series = Series(*(getattr(self.series, column.name)[rows] for column in fields(Series)))
        kept, dropped, pull, inverse = (part[rows] for part in (self.kept, self.dropped, self.pull, self.inverse))
        return Learnt(self.shape, self.values, series, kept, dropped, pull, inverse)

    @property
    def last_u(self) -> Array:
        """Axis value (n,) of the last measurement that counts in the life asked about; 0 without one."""
        return np.where(self.kept & (self.series.life == 0), self.series.u, 0.0).max(axis=1)

    def drivers(self, u: Array) -> tuple[Array, Array]:
        """Return basis (n, G, B) and clock (n, G) at axis values u (n, G)."""
        return self.shape.basis(u, self._second(u)), self.shape.clock(u)

    def _second(self, u: Array) -> Array:
        """The second driver: along straight lines through what was noted, from nothing; after the last at the rate given."""
        known, at = self.series.second, self.series.u
        if not (known.any() or self.series.rate.any()):
            return np.zeros_like(u)
        span = np.where(self.series.used, at, 0.0).max(axis=1, keepdims=True)
        found = self.series.rate[:, None] * np.maximum(u - span, 0.0)
        from_u = from_second = np.zeros((len(u), 1))
        for column in range(at.shape[1]):
            here = self.series.used[:, column : column + 1]
            to_u = np.where(here, at[:, column : column + 1], from_u)
            to_second = np.where(here, known[:, column : column + 1], from_second)
            length = to_u - from_u
            slope = (to_second - from_second) / np.where(length > 0, length, 1.0)
            found = found + slope * np.clip(u - from_u, 0.0, length)
            from_u, from_second = to_u, to_second
        return found

    def link(self, phi: Array, g: Array) -> Array:
        """Return the covariance (n, G, K) of true wear with each measurement that counts."""
        at_phi = self.shape.basis(self.series.u, self.series.second)
        at_g, now = self.shape.clock(self.series.u), (self.series.life == 0)[:, None, :]
        return prior_covariance(self.values, phi, at_phi, g, at_g, now) * self.kept[:, None, :]

    def wear(self, u: Array) -> tuple[Array, Array]:
        """Return mean and standard deviation (n, G) of the true wear at axis values u (n, G)."""
        phi, g = self.drivers(u)
        link = self.link(phi, g)
        mean = phi @ np.asarray(self.values.mean) + (link @ self.pull[..., None])[..., 0]
        before = (phi**2) @ (np.asarray(self.values.spread) ** 2) + self.values.wander**2 * g
        known = ((link @ self.inverse) * link).sum(axis=-1)
        return mean, np.sqrt(np.maximum(before - known, 0.0))
