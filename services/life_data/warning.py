"""Early warning: more failures this month than the fitted life lets expect of the parts in the field.

Expected is a sum of chances over the parts, each from its own age; what is seen is compared with a Poisson count, widened
where the life itself is unsure. False alarms are promised for a year and over everything that is watched, and the
threshold follows from that promise. Compare only finished months: failures are reported late.
Ages in the unit of the scale (km, days, hours). Source: W. Meeker and L. Escobar, Statistical Methods for Reliability Data
(1998), section 12.7 (prediction); the threshold is this workshop's own.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, gammainc

from services.life_data.counts import BadCounts, check_life, tail_of

MONTHS_A_YEAR = 12
FEWEST = 2  # a single failure is a case for the list, never an alarm
# A gamma of the same mean that is wider still lies mostly near 0, and a fit that knows nothing would alarm the sooner.
_WIDEST = 1.0
_SURE = 1e-6  # spread of the log below which the expected number counts as known


@dataclass(frozen=True)
class Watch:
    """Many part types or batches in one month, arrays (k,): what was expected and seen, its chance, and what is alarmed.

    alarm_from: the count at which each would be alarmed; chance: of at least the count seen, if the fitted life holds;
    false_alarms_a_year: what these thresholds really give over all k, never more than what was promised.
    """

    expected: np.ndarray
    seen: np.ndarray
    chance: np.ndarray
    alarm_from: np.ndarray
    alarmed: np.ndarray
    false_alarms_a_year: float


def chance_to_fail(shape: float, scale: float, age: ArrayLike, further: ArrayLike) -> np.ndarray:
    """Return the chance of each part (n,) to fail within `further`, having lived to `age`, by a Weibull life.

    Raises BadCounts: shape or scale not above 0, a negative age or distance.
    """
    lived, more = np.asarray(age, dtype=float), np.asarray(further, dtype=float)
    check_life(shape, scale)
    if not ((lived >= 0).all() and (more >= 0).all()):
        raise BadCounts("Ages and what is still to run begin at 0.", field="age")
    return -np.expm1((lived / scale) ** shape - ((lived + more) / scale) ** shape)


def expected_failures(shape: float, scale: float, age: ArrayLike, further: ArrayLike, parts: ArrayLike = 1.0) -> float:
    """Return how many of the parts in the field are expected to fail within `further`; parts: how many share each age.

    A part that fails and is replaced counts once. Raises BadCounts. Source: Meeker and Escobar (1998), 12.7.
    """
    return float(np.sum(np.asarray(parts, dtype=float) * chance_to_fail(shape, scale, age, further)))


def spread_of_expected(
    shape: float, scale: float, covariance: ArrayLike, age: ArrayLike, further: ArrayLike, parts: ArrayLike = 1.0
) -> float:
    """Return the standard deviation of the log of `expected_failures` from the covariance (2, 2) of (ln scale, ln shape).

    By differences in both logs (delta method); 0 where nothing is expected. Raises BadCounts.
    """
    step = 1e-4
    middle = expected_failures(shape, scale, age, further, parts)
    if middle <= 0:
        return 0.0

    def log_at(log_scale: float, log_shape: float) -> float:
        return float(
            np.log(expected_failures(shape * np.exp(log_shape), scale * np.exp(log_scale), age, further, parts))
        )

    slope = np.array([log_at(step, 0) - log_at(-step, 0), log_at(0, step) - log_at(0, -step)]) / (2 * step)
    return float(np.sqrt(max(slope @ np.asarray(covariance, dtype=float) @ slope, 0.0)))


def chance_of(seen: ArrayLike, expected: ArrayLike, spread: ArrayLike = 0.0) -> np.ndarray:
    """Return the chance (k,) of at least that many failures where `expected` are expected.

    spread: standard deviation of the log of `expected`; the count is then negative binomial (a gamma about `expected`
    with that coefficient of variation), otherwise Poisson. Above 1 (a factor of e) it counts as 1: a life known no better
    should not be watched by. Raises BadCounts: negative numbers.
    """
    count, mean, unsure = (np.asarray(a, dtype=float) for a in np.broadcast_arrays(seen, expected, spread))
    if not ((count >= 0).all() and (mean >= 0).all() and (unsure >= 0).all()):
        raise BadCounts("Counts and what is expected are not negative.", field="seen")
    some = np.maximum(count, 1.0)
    weight = 1.0 / np.expm1(np.clip(unsure, _SURE, _WIDEST) ** 2)
    wide = betainc(some, weight, mean / (mean + weight))
    chance = np.where(unsure > _SURE, wide, gammainc(some, mean))
    return np.where(count < 1, 1.0, chance)


def alarm_from(expected: ArrayLike, share: float, spread: ArrayLike = 0.0) -> np.ndarray:
    """Return the smallest count (k,), at least two, whose chance is no greater than `share`. Raises BadCounts."""
    return _rare_from(expected, share, spread, FEWEST)


def _rare_from(expected: ArrayLike, share: float, spread: ArrayLike, least: int) -> np.ndarray:
    """The smallest count from `least` on whose chance is no greater than `share`: doubled until it is, then halved."""
    if not 0 < share <= 1:
        raise BadCounts("A chance lies between 0 and 1.", field="level")
    mean, unsure = np.broadcast_arrays(np.asarray(expected, dtype=float), np.asarray(spread, dtype=float))
    low, high = np.full(mean.shape, least - 1.0), np.full(mean.shape, float(least))
    while (still := chance_of(high, mean, unsure) > share).any():
        low, high = np.where(still, high, low), np.where(still, 2.0 * high, high)
    while (wide := high - low > 1).any():
        middle = np.floor((low + high) / 2.0)
        rare = chance_of(middle, mean, unsure) <= share
        low, high = np.where(wide & ~rare, middle, low), np.where(wide & rare, middle, high)
    return high.astype(np.int64)


def watch_month(
    seen: ArrayLike, expected: ArrayLike, spread: ArrayLike = 0.0, false_alarms_a_year: float = 1.0
) -> Watch:
    """Return what is alarmed this month among k part types or batches, all watched every month.

    Each gets the share false_alarms_a_year / (12 k), so that over a year and all of them no more false alarms are to be
    expected than promised; counts are whole, so that it is mostly much less. Raises BadCounts.
    """
    count, mean, unsure = np.broadcast_arrays(np.atleast_1d(seen), np.asarray(expected, dtype=float), spread)
    if not len(count) or false_alarms_a_year <= 0:
        raise BadCounts("An early warning watches something, and promises some false alarms.", field="expected")
    chance = chance_of(count, mean, unsure)
    share = min(false_alarms_a_year / (MONTHS_A_YEAR * len(count)), 1.0)
    limit = alarm_from(mean, share, unsure)
    really = float(MONTHS_A_YEAR * chance_of(limit, mean, unsure).sum())
    return Watch(mean, count, chance, limit, count >= limit, really)


def likely_range(expected: float, spread: float = 0.0, confidence: float = 0.9) -> tuple[int, int]:
    """Return the counts between which that share of outcomes lies at least, each tail at most half of the rest.

    Raises BadCounts.
    """
    tail = tail_of(confidence)
    return most_with(expected, tail, spread), most_with(expected, 1.0 - tail, spread)


def likely_ranges(
    expected: ArrayLike, spread: ArrayLike = 0.0, confidence: float = 0.9
) -> tuple[np.ndarray, np.ndarray]:
    """Return `likely_range` of many at once, arrays (k,) of whole numbers. Raises BadCounts."""
    tail = tail_of(confidence)
    low, high = (_rare_from(expected, 1.0 - level, spread, 1) - 1 for level in (tail, 1.0 - tail))
    return low, high


def most_with(expected: float, level: float, spread: float = 0.0) -> int:
    """Return the smallest count that is not exceeded with at least the chance `level`. Raises BadCounts: level outside (0, 1)."""
    return int(_rare_from(expected, 1.0 - level, spread, 1)) - 1
