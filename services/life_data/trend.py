"""Do machines come back more and more often, or less and less: trend tests and the power law of repairs.

A stream of repairs of machines or positions, not the life of one part: the shape here and a Weibull shape are different
things, and sorting intervals by length destroys a trend. Repairs as `recurrence.Histories`; ages in any one unit.
Power law: expected repairs up to age t = scale x t^shape; below 1 it gets better, above 1 worse.
Sources: L. Crow, AMSAA Technical Report 138 (1975); MIL-HDBK-189 (1981), appendix C; NIST/SEMATECH e-Handbook 8.2.3.4.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import chdtr, chdtrc, chdtri, gammainc, gammaincinv, gammaln, i1e, ndtr

from services.life_data.counts import tail_of
from services.life_data.recurrence import BadHistories, Histories

FEWEST = 5  # repairs below which no trend is spoken of
BETTER, WORSE, CANNOT_TELL, TOO_FEW = "getting better", "getting worse", "cannot tell", "too few to tell"
_FLATTEST, _STEEPEST = 1e-3, 50.0  # shapes between which the solution is looked for


@dataclass(frozen=True)
class Trend:
    """Both tests of no trend: z of Laplace and chi-square of the handbook on 2 n degrees, each with its two-sided p."""

    repairs: int
    laplace: float
    laplace_p: float
    chi_square: float
    chi_square_p: float
    words: str


@dataclass(frozen=True)
class PowerLaw:
    """shape (no unit), scale (repairs per age^shape and machine), and how many repairs they rest on."""

    shape: float
    scale: float
    repairs: int

    def expected(self, age: ArrayLike) -> np.ndarray:
        """Return the expected repairs of one machine up to each age."""
        return self.scale * np.asarray(age, dtype=float) ** self.shape

    def rate(self, age: ArrayLike) -> np.ndarray:
        """Return repairs per unit of age of one machine at each age; its inverse is the mean distance between repairs."""
        return self.scale * self.shape * np.asarray(age, dtype=float) ** (self.shape - 1.0)


def _needs(repairs: int) -> None:
    if repairs < 1:
        raise BadHistories("Without repairs there is no trend.", field="age")


def trend(seen: Histories, ended_by_repair: bool = False, sure: float = 0.95) -> Trend:
    """Return both trend tests over all machines, and what may be said: a trend only when both agree on it.

    Within its window each machine's repairs lie evenly when there is no trend. ended_by_repair: each window ends because
    of its last repair, which then tells nothing. Fewer than five repairs: "too few to tell".
    Raises BadHistories: no repair that tells anything.
    """
    telling = _before_last(seen) if ended_by_repair else np.ones(len(seen.age), dtype=bool)
    start, end = seen.start[seen.machine[telling]], seen.end[seen.machine[telling]]
    along = (seen.age[telling] - start) / (end - start)
    count = len(along)
    _needs(count)
    length = end - start
    z = float(np.sum((along - 0.5) * length) / np.sqrt(np.sum(length**2) / 12.0))
    chi_square = float(-2.0 * np.sum(np.log(along)))
    z_p = float(2.0 * ndtr(-abs(z)))
    tails = float(chdtr(2 * count, chi_square)), float(chdtrc(2 * count, chi_square))
    chi_p = min(1.0, 2.0 * min(tails))
    agree = max(z_p, chi_p) <= 1.0 - sure and (z > 0) == (tails[0] < tails[1])
    words = TOO_FEW if count < FEWEST else CANNOT_TELL if not agree else WORSE if z > 0 else BETTER
    return Trend(count, z, z_p, chi_square, chi_p, words)


def _before_last(seen: Histories) -> np.ndarray:
    """Which repairs are not the last of their machine."""
    order = np.lexsort((seen.age, seen.machine))
    last = np.append(np.diff(seen.machine[order]) != 0, True)[: len(order)]
    telling = np.empty(len(order), dtype=bool)
    telling[order] = ~last
    return telling


def fit_power_law(seen: Histories) -> PowerLaw:
    """Return the power law by maximum likelihood, one for all machines, each over its own window (late entry too).

    Also right where a window ends with its last repair. With equal windows from 0: shape = n / sum ln(T / t).
    Raises BadHistories: no repair, a window that begins below 0, or no shape between 0.001 and 50.
    Source: Crow (1975), sections 3.1 and 3.2.
    """
    count = len(seen.age)
    _needs(count)
    if seen.start.min() < 0:
        raise BadHistories("A power law begins at age 0.", field="start")
    unit = float(seen.end.max())
    ends, starts, logs = seen.end / unit, seen.start / unit, float(np.sum(np.log(seen.age / unit)))

    def score(shape: float) -> float:
        lived = np.sum(ends**shape - starts**shape)
        slope = np.sum(_times_log(ends, shape) - _times_log(starts, shape))
        return float(count / shape + logs - count * slope / lived)

    shape = _root(score)
    return PowerLaw(shape, float(count / np.sum(seen.end**shape - seen.start**shape)), count)


def _root(score: Callable[[float], float]) -> float:
    """The shape at which a falling score is nothing."""
    if score(_FLATTEST) <= 0 or score(_STEEPEST) >= 0:
        raise BadHistories("All repairs lie at one end of their windows: no shape can be told.", field="age")
    return float(brentq(score, _FLATTEST, _STEEPEST, xtol=1e-13, rtol=1e-13))


def _times_log(age: np.ndarray, shape: float) -> np.ndarray:
    return age**shape * np.log(np.where(age > 0, age, 1.0))


def fit_grouped(bounds: ArrayLike, counts: ArrayLike) -> PowerLaw:
    """Return the power law of one machine whose repairs are only counted: counts (k,) between bounds (k + 1,) from 0 on.

    Raises BadHistories: no repair, bounds that do not rise from 0, or no shape (all repairs in the first or last stretch).
    Source: MIL-HDBK-189 (1981), appendix C, grouped data.
    """
    edges, own = np.asarray(bounds, dtype=float), np.asarray(counts, dtype=float)
    _needs(int(own.sum()))
    if len(edges) != len(own) + 1 or edges[0] != 0 or not (np.diff(edges) > 0).all():
        raise BadHistories("Stretches rise from 0, one more bound than counts.", field="bounds")
    relative = edges / edges[-1]

    def score(shape: float) -> float:
        return float(np.sum(own * np.diff(_times_log(relative, shape)) / np.diff(relative**shape)))

    shape = _root(score)
    return PowerLaw(shape, float(own.sum() / edges[-1] ** shape), int(own.sum()))


def _told(seen: Histories, ended_by_repair: bool) -> tuple[np.ndarray, np.ndarray]:
    """(machine, log(end / age)) of the repairs that tell something; windows from 0."""
    telling = _before_last(seen) if ended_by_repair else np.ones(len(seen.age), dtype=bool)
    machine = seen.machine[telling]
    if seen.start.any():
        raise BadHistories("These limits need windows from 0.", field="start")
    _needs(len(machine))
    return machine, np.log(seen.end[machine] / seen.age[telling])


def conditional_shape(seen: Histories, ended_by_repair: bool = False) -> tuple[float, float]:
    """Return (shape given the number of repairs, the same freed of its bias by (n - 1) / n); windows from 0.

    Raises BadHistories: no repair that tells anything, late entry. Source: Crow (1975), section 3.2.
    """
    _, logs = _told(seen, ended_by_repair)
    shape = len(logs) / float(logs.sum())
    return shape, shape * (len(logs) - 1) / len(logs)


def shape_limits(seen: Histories, confidence: float = 0.9, ended_by_repair: bool = False) -> tuple[float, float]:
    """Return exact limits of the shape: 2 shape sum ln(end / age) is chi-square on 2 n degrees; windows from 0.

    Raises BadHistories as `conditional_shape`. Source: Crow (1975), section 3.5.
    """
    _, logs = _told(seen, ended_by_repair)
    tail = tail_of(confidence)
    return tuple(float(chdtri(2 * len(logs), p) / (2.0 * logs.sum())) for p in (1.0 - tail, tail))


def gap_factors(repairs: int, confidence: float = 0.9, ended_by_repair: bool = False) -> tuple[float, float]:
    """Return what to multiply the distance between repairs at the end, end / (n shape), by for its exact limits.

    One machine watched from 0, shape by `fit_power_law`; the upper one is infinite after a single repair. Watched to a
    fixed age: given the sum of logs, the chance of n repairs goes as z^n / (n! (n - 1)!). Ended by the n-th repair: n^2
    over a product of two gammas (n and n - 1).
    Raises BadHistories: no repair; one, where it ended by it. Source: Crow (1975); tables in NASA TM-103511.
    """
    _needs(repairs - 1 if ended_by_repair else repairs)
    tail = tail_of(confidence)
    if ended_by_repair:
        high, low = _product_quantile(repairs, 1.0 - tail), _product_quantile(repairs, tail)
    else:
        high, low = _where_share_is(repairs, tail), _where_share_is(repairs - 1, 1.0 - tail) if repairs > 1 else 0.0
    return repairs**2 / high, repairs**2 / low if low else np.inf


def _share_up_to(repairs: int, z: float) -> float:
    """Chance of at most that many repairs when they go as z^n / (n! (n - 1)!), n from 1; the sum is sqrt(z) I1(2 sqrt(z))."""
    n = np.arange(1, repairs + 1)
    root = np.sqrt(z)
    log_total = 0.5 * np.log(z) + np.log(i1e(2.0 * root)) + 2.0 * root
    return float(np.sum(np.exp(n * np.log(z) - gammaln(n + 1) - gammaln(n) - log_total)))


def _where_share_is(repairs: int, share: float) -> float:
    highest = 20.0 * (repairs + 10) ** 2
    return float(brentq(lambda z: _share_up_to(repairs, z) - share, 1e-9, highest, xtol=1e-12, rtol=1e-13))


def _product_quantile(repairs: int, p: float) -> float:
    """Quantile of the product of two independent gammas with shapes n and n - 1."""
    low, high = gammaincinv(repairs - 1, [1e-15, 1.0 - 1e-15])
    nodes, weights = np.polynomial.legendre.leggauss(400)
    y = low + 0.5 * (nodes + 1.0) * (high - low)
    density = np.exp((repairs - 2) * np.log(y) - y - gammaln(repairs - 1)) * weights * 0.5 * (high - low)
    highest = 4.0 * high * high + 100.0
    return float(brentq(lambda q: np.sum(gammainc(repairs, q / y) * density) - p, 1e-12, highest, rtol=1e-13))


def misfit(seen: Histories, ended_by_repair: bool = False) -> tuple[float, int]:
    """Return (Cramer and von Mises' distance from a power law, repairs it rests on); windows from 0.

    Compare with `misfit_limit`. Raises BadHistories as `conditional_shape`. Source: Crow (1975), section 3.7.
    """
    _, logs = _told(seen, ended_by_repair)
    return float(_distance(np.exp(-logs)[None, :])[0]), len(logs)


def _distance(along: np.ndarray) -> np.ndarray:
    """The distance of each row (draws, n) of ages over their ends, with the shape freed of its bias."""
    count = along.shape[1]
    shape = (count - 1) / -np.log(along).sum(axis=1, keepdims=True)
    middle = (2.0 * np.arange(1, count + 1) - 1.0) / (2.0 * count)
    return 1.0 / (12.0 * count) + np.sum((np.sort(along, axis=1) ** shape - middle) ** 2, axis=1)


@lru_cache(maxsize=64)
def misfit_limit(repairs: int, level: float = 0.95, draws: int = 20_000, seed: int = 1) -> float:
    """Return the distance that a true power law exceeds only with chance 1 - level: the same for every shape; by drawing.

    Crow (1975), table 2, prints 0.213 for 36 repairs at 95 %.
    """
    _needs(repairs)
    return float(np.quantile(_distance(np.random.default_rng(seed).uniform(size=(draws, repairs))), level))


def one_shape(seen: Histories, ended_by_repair: bool = False) -> tuple[float, float]:
    """Return (statistic, p) of the test that all machines with a telling repair share one shape; windows from 0.

    A likelihood ratio with Bartlett's factor, chi-square on machines - 1 degrees. Raises BadHistories: fewer than two
    machines with repairs. Source: Crow (1975), section 3.6.
    """
    machine, logs = _told(seen, ended_by_repair)
    rows, row, own = np.unique(machine, return_inverse=True, return_counts=True)
    if len(rows) < 2:
        raise BadHistories("Shapes are compared between two machines or more.", field="machine")
    shapes = own / np.bincount(row, weights=logs)
    common = own.sum() / np.sum(own / shapes)
    ratio = np.sum(own * np.log(shapes)) - own.sum() * np.log(common)
    factor = 1.0 + (np.sum(1.0 / own) - 1.0 / own.sum()) / (6.0 * (len(rows) - 1))
    statistic = float(2.0 * ratio / factor)
    return statistic, float(chdtrc(len(rows) - 1, statistic))
