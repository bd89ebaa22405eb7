"""Batches, makers, firmware and model years compared: is one really worse, or would chance do that too.

A group stands against all others of its part type, by its failures per exposure (km, days, hours) or per part fitted, with
exact tests; many comparisons always show something, so that `false_discoveries` looks at all of one review together. The
groups must be chosen before looking at the failures. What is worst is told by evidence or by shrunk rates, never by raw ones.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize_scalar
from scipy.special import betaincinv, chdtrc, gammaincinv, gammaln, ndtr, xlog1py, xlogy

from services.life_data.at_risk import watched_at
from services.life_data.counts import BadCounts, paired_counts, tail_of

_SAME = 1.0 + 1e-7  # counts whose chance is equal but for rounding are equally unlikely
_WIDEST = 1e-4  # smallest shape of the prior: groups spread over many powers of ten


@dataclass(frozen=True)
class Against:
    """Each group against the rest, arrays (groups,): failures and exposure of both, ratio of rates, two-sided p."""

    failures: np.ndarray
    exposure: np.ndarray
    rest_failures: np.ndarray
    rest_exposure: np.ndarray
    ratio: np.ndarray
    p: np.ndarray


@dataclass(frozen=True)
class Shrunk:
    """Rates drawn to what the groups have in common, arrays (groups,), failures per unit of exposure.

    The prior is a gamma: `shape` failures seen in `exposure`; low and high bound a rate with the chance asked for.
    """

    shape: float
    exposure: float
    rate: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class LogRank:
    """Each group's lives against the rest, arrays (groups,): failures, failures expected alike, z (above 0: worse), p.

    chi_square and chi_square_p: one test of all groups together, on groups - 1 degrees.
    """

    failures: np.ndarray
    expected: np.ndarray
    z: np.ndarray
    p: np.ndarray
    chi_square: float
    chi_square_p: float


def rate_p(
    failures: ArrayLike, exposure: ArrayLike, other: ArrayLike, other_exposure: ArrayLike, mid_p: bool = False
) -> np.ndarray:
    """Return the two-sided p (k,) that two failure rates are the same, for k pairs: exact, given the failures of both.

    Given their sum the failures are binomial by share of exposure; p sums what is as unlikely or more so, of the case
    itself only half for mid_p (less cautious: may raise slightly more than its share of false alarms).
    Raises BadCounts. Source: Przyborowski and Wilenski, Biometrika 31 (1940) 313-323; R poisson.test.
    """
    one, lived = paired_counts(failures, exposure)
    two, other_lived = paired_counts(other, other_exposure)
    share = (lived / (lived + other_lived))[:, None]
    total = (one + two)[:, None]
    k = np.arange(int(total.max()) + 1)
    left = np.maximum(total - k, 0)
    logs = gammaln(total + 1) - gammaln(k + 1) - gammaln(left + 1) + xlogy(k, share) + xlog1py(left, -share)
    return _as_unlikely(np.where(k <= total, logs, -np.inf), one, mid_p)


def fitted_p(
    failed: ArrayLike, fitted: ArrayLike, other: ArrayLike, other_fitted: ArrayLike, mid_p: bool = False
) -> np.ndarray:
    """Return the two-sided p (k,) that two shares of failed parts are the same: Fisher's exact test of k tables.

    Only for parts of like age and use; with exposure known, `rate_p` is fairer. Raises BadCounts: more failed than fitted.
    """
    one, all_one = paired_counts(failed, fitted)
    two, all_two = paired_counts(other, other_fitted)
    if (one > all_one).any() or (two > all_two).any():
        raise BadCounts("More parts failed than were fitted.", field="failures")
    total, all_one, all_two = (one + two)[:, None], all_one[:, None], all_two[:, None]
    k = np.arange(int(total.max()) + 1)
    possible = (k <= np.minimum(total, all_one)) & (total - k <= all_two)
    logs = _log_choose(all_one, k, possible) + _log_choose(all_two, total - k, possible)
    logs = np.where(possible, logs - _log_choose(all_one + all_two, total, True), -np.inf)
    return _as_unlikely(logs, one, mid_p)


def _log_choose(n: np.ndarray, k: np.ndarray, possible: np.ndarray | bool) -> np.ndarray:
    k = np.where(possible, k, 0)
    return gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)


def _as_unlikely(logs: np.ndarray, seen: np.ndarray, mid_p: bool) -> np.ndarray:
    """Sum of the chances (k, counts) that are no greater than that of the count seen."""
    chance = np.exp(logs)
    own = np.take_along_axis(chance, seen[:, None], axis=1)
    p = np.where(chance <= own * _SAME, chance, 0.0).sum(axis=1)
    return np.minimum(p - 0.5 * own[:, 0] if mid_p else p, 1.0)


def ratio_limits(
    failures: int, exposure: float, other: int, other_exposure: float, confidence: float = 0.95
) -> tuple[float, float]:
    """Return exact limits of the ratio of two failure rates, one over other; 0 or infinite where nothing bounds it.

    Raises BadCounts. Source: limits of a binomial share (Clopper and Pearson 1934), as in R poisson.test.
    """
    (one,), (lived,) = paired_counts(failures, exposure)
    (two,), (other_lived,) = paired_counts(other, other_exposure)
    tail = tail_of(confidence)
    low = float(betaincinv(one, two + 1, tail)) if one else 0.0
    high = float(betaincinv(one + 1, two, 1.0 - tail)) if two else 1.0
    odds = float(other_lived / lived)
    return low / (1.0 - low) * odds, high / (1.0 - high) * odds if high < 1.0 else np.inf


def against_rest(failures: ArrayLike, exposure: ArrayLike, mid_p: bool = False) -> Against:
    """Return each group of a part type against all others together. Raises BadCounts: fewer than two groups."""
    count, lived = paired_counts(failures, exposure)
    if len(count) < 2:
        raise BadCounts("A comparison needs two groups.", field="failures")
    rest, rest_lived = count.sum() - count, lived.sum() - lived
    with np.errstate(divide="ignore", invalid="ignore"):  # no failure in the rest: infinite; none at all: alike
        ratio = np.where(count.sum() > 0, count * rest_lived / (rest * lived), 1.0)
    return Against(count, lived, rest, rest_lived, ratio, rate_p(count, lived, rest, rest_lived, mid_p))


def false_discoveries(p: ArrayLike) -> np.ndarray:
    """Return q (k,): the share of false ones to be expected among all findings with a q no greater.

    Give it all comparisons of a review together: batches, makers, firmware, all part types. Raises BadCounts: no p.
    Source: Y. Benjamini and Y. Hochberg, J. Royal Statistical Society B 57 (1995) 289-300.
    """
    chance = np.atleast_1d(np.asarray(p, dtype=float))
    if not len(chance) or not ((chance >= 0) & (chance <= 1)).all():
        raise BadCounts("A chance lies between 0 and 1.", field="p")
    order = np.argsort(-chance, kind="stable")
    scaled = chance[order] * len(chance) / np.arange(len(chance), 0, -1)
    q = np.empty_like(scaled)
    q[order] = np.minimum.accumulate(np.minimum(scaled, 1.0))
    return q


def shrunk_rates(failures: ArrayLike, exposure: ArrayLike, confidence: float = 0.9) -> Shrunk:
    """Return rates shrunk to a gamma prior that is fitted to all groups, with credible ranges of that chance.

    The counts are then negative binomial; shape and exposure of the prior make them likeliest. A prior never counts for
    more than all failures together: with no spread to see, every group gets about the common rate with its range. A
    single group has nobody to lean on (half a failure stands for the prior, after Jeffreys).
    Ranges leave out how unsure the prior is: with few groups they are somewhat narrow. Raises BadCounts.
    Source: Gaver and O'Muircheartaigh, Technometrics 29 (1987) 1-15, their gamma case.
    """
    count, lived = paired_counts(failures, exposure)
    shape, prior = (
        _fit_prior(count, lived) if len(count) > 1 and count.any() else (0.5, lived.sum() if len(count) > 1 else 0.0)
    )
    tail = tail_of(confidence)
    after, seen = count + shape, lived + prior
    return Shrunk(shape, prior, after / seen, gammaincinv(after, tail) / seen, gammaincinv(after, 1.0 - tail) / seen)


def marginal_log_likelihood(failures: ArrayLike, exposure: ArrayLike, shape: float, prior: float) -> float:
    """Return the log chance of all counts when rates are gamma: `shape` failures in `prior` exposure. Raises BadCounts."""
    count, lived = paired_counts(failures, exposure)
    own = gammaln(count + shape) - gammaln(shape) - gammaln(count + 1)
    return float(np.sum(own - shape * np.log1p(lived / prior) + count * np.log(lived / (prior + lived))))


def _fit_prior(count: np.ndarray, lived: np.ndarray) -> tuple[float, float]:
    """(shape, exposure) of the likeliest prior; for each shape the mean is found first, then the shape by golden section."""
    most = np.log(count.sum() + 0.5)

    def cost(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return -marginal_log_likelihood(count, lived, shape, _prior_exposure(count, lived, shape))

    starts = np.linspace(np.log(_WIDEST), most, 60)
    near = int(np.argmin([cost(start) for start in starts]))
    ends = (starts[max(near - 1, 0)], starts[min(near + 1, 59)])
    best = minimize_scalar(cost, bounds=ends, method="bounded", options={"xatol": 1e-9}).x
    best = most if near == 59 and cost(most) <= cost(best) else best
    shape = float(np.exp(best))
    return shape, _prior_exposure(count, lived, shape)


def _prior_exposure(count: np.ndarray, lived: np.ndarray, shape: float) -> float:
    """The likeliest exposure b of a prior of that shape: sum of (shape + x) / (b + t) is groups x shape / b."""

    def slope(log_prior: float) -> float:
        prior = np.exp(log_prior)
        return float(np.sum((count - shape * lived / prior) / (prior + lived)))

    middle = np.log(shape * lived.sum() / count.sum())
    return float(np.exp(brentq(slope, middle - 40.0, middle + 40.0, xtol=1e-12, rtol=1e-13)))


def log_rank(end: ArrayLike, failed: ArrayLike, group: ArrayLike, start: ArrayLike = 0.0) -> LogRank:
    """Return the log-rank test of lives: n parts, each watched over start < age <= end, failed at its end or not.

    group (n,): 0, 1, ...; survivors count. Rests on ages, so that a young batch is not called good for being young; no exact
    test: with fewer than five failures expected in a group take `rate_p`. Raises BadCounts: broken lives, one group.
    Source: N. Mantel, Cancer Chemotherapy Reports 50 (1966) 163-170; late entry as for Kaplan-Meier.
    """
    ends, dead, rows = np.asarray(end, dtype=float), np.asarray(failed, dtype=bool), np.asarray(group, dtype=np.intp)
    starts = np.broadcast_to(np.asarray(start, dtype=float), ends.shape)
    if not (ends.shape == dead.shape == rows.shape) or not (starts < ends).all() or len(np.unique(rows)) < 2:
        raise BadCounts("Lives need an end after their start, and two groups or more.", field="end")
    groups = int(rows.max()) + 1
    age, at = np.unique(ends[dead], return_inverse=True)
    deaths = np.zeros((groups, len(age)))
    np.add.at(deaths, (rows[dead], at), 1.0)
    ones = np.ones(ends.shape)
    watched = np.array(
        [watched_at(starts[own], ends[own], ones[own], age) for own in (rows == row for row in range(groups))]
    ).reshape(deaths.shape)
    return _ranked(deaths, watched)


def _ranked(deaths: np.ndarray, watched: np.ndarray) -> LogRank:
    all_deaths, all_watched = deaths.sum(axis=0), watched.sum(axis=0)
    share = watched / all_watched
    expected = (share * all_deaths).sum(axis=1)
    spread = all_deaths * (all_watched - all_deaths) / np.maximum(all_watched - 1, 1)
    covariance = np.diag((share * spread).sum(axis=1)) - (share * spread) @ share.T
    observed = deaths.sum(axis=1)
    off = observed - expected
    error = np.sqrt(np.diag(covariance))
    z = np.divide(off, error, out=np.zeros_like(off), where=error > 0)
    told = int(np.count_nonzero(error > 0))
    chi_square = float(off @ np.linalg.pinv(covariance, hermitian=True) @ off)
    p = float(chdtrc(told - 1, chi_square)) if told > 1 else 1.0
    return LogRank(observed, expected, z, 2.0 * ndtr(-np.abs(z)), chi_square, p)
