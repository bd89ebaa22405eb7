"""What none or a few failures allow to say: limits of a rate, of a share, and of a life whose shape is borrowed.

All limits are exact: they cover at least as often as they say. One-sided limits are at the confidence named; two-sided ones leave
half of the rest on each side. Raises BadCounts: failures below 0 or more than the parts, nothing to rest on, a confidence
outside 0 and 1.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, gammaincinv

from services.life_data.counts import BadCounts, check_exposure, check_life, checked_share, tail_of
from services.life_data.lives import Array, Lives

TOO_LOW, TOO_HIGH = 0.7, 1.4  # how far a borrowed shape may be off: shown beside it (simulated)


class Limits(NamedTuple):
    """Lower and upper limits, arrays of the shape of what was asked."""

    low: Array
    high: Array


@dataclass(frozen=True)
class Weibayes:
    """A life with a borrowed shape. life: estimate, with no failure the one a failure now would give; low: its lower limit."""

    shape: float
    life: float
    low: float
    failures: float

    def b_life_low(self, share: float = 0.10) -> float:
        """Return the lower limit of the age by which this share has failed: B10 for 0.10."""
        return float(self.low * (-np.log1p(-share)) ** (1 / self.shape))


def _checked(failures: ArrayLike, exposure: ArrayLike) -> tuple[Array, Array]:
    check_exposure(exposure)
    count = np.asarray(failures, float)
    if not (count >= 0).all():
        raise BadCounts("Failures are not negative.", field="failures")
    return count, np.asarray(exposure, float)


def rate_limits(failures: ArrayLike, exposure: ArrayLike, *, confidence: float = 0.90) -> Limits:
    """Return two-sided limits of failures per unit of exposure, watched for a fixed exposure (Garwood 1936, Biometrika 28:437).

    exposure: km, days, hours or parts, above 0. The limits of the mean time between failures are their reciprocals.
    """
    (r, run), tail = _checked(failures, exposure), tail_of(confidence)
    low = np.where(r > 0, gammaincinv(np.where(r > 0, r, 1.0), tail), 0.0)
    return Limits(low / run, gammaincinv(r + 1, 1 - tail) / run)


def rate_upper(failures: ArrayLike, exposure: ArrayLike, *, confidence: float = 0.95) -> Array:
    """Return the one-sided upper limit of the rate; with no failure -ln(1 - confidence) / exposure, three in all at 95 %.

    Half of chi-square with 2 r + 2 degrees of freedom (NIST e-Handbook 8.4.5.1).
    """
    r, run = _checked(failures, exposure)
    return gammaincinv(r + 1, checked_share(confidence)) / run


def share_limits(failed: ArrayLike, parts: ArrayLike, *, confidence: float = 0.90) -> Limits:
    """Return two-sided limits of the share that fails (Clopper & Pearson 1934, Biometrika 26:404)."""
    tail = tail_of(confidence)
    good = np.asarray(parts, float) - np.asarray(failed, float)
    return Limits(1.0 - share_upper(good, parts, confidence=1 - tail), share_upper(failed, parts, confidence=1 - tail))


def share_upper(failed: ArrayLike, parts: ArrayLike, *, confidence: float = 0.95) -> Array:
    """Return the one-sided upper limit of the share that fails, 1 when all did."""
    r, n = _checked(failed, parts)
    if not (r <= n).all():
        raise BadCounts("More parts failed than there were.", field="failures")
    some = r < n
    return np.where(some, betaincinv(r + 1, np.where(some, n - r, 1.0), checked_share(confidence)), 1.0)


def success_run(reliability: ArrayLike, *, confidence: float = 0.90) -> Array:
    """Return how many parts must reach an age without one failure to show this reliability: ln(1 - C) / ln R, not rounded up."""
    return np.log1p(-checked_share(confidence)) / np.log(np.asarray(reliability, float))


def reliability_shown(parts: ArrayLike, *, confidence: float = 0.90) -> Array:
    """Return the reliability that `parts` survivors of an age show when none failed: (1 - C)^(1/n)."""
    check_exposure(parts)
    return (1 - checked_share(confidence)) ** (1 / np.asarray(parts, float))


def weibayes(lives: Lives, shape: float, *, confidence: float = 0.95) -> Weibayes:
    """Return the life with a shape borrowed from sister parts, and its one-sided lower limit (Abernethy, ch. 6).

    With T the sum of age^shape (less entry^shape): life (T/r)^(1/shape), limit (2 T / chi-square(2 r + 2))^(1/shape). A failure
    between two looks counts as of the first of them: the safe side. A shape borrowed too high makes limits within the ages
    watched too long, one borrowed too low those beyond them: see `weibayes_range`.
    """
    check_life(shape)
    until = np.where(lives.between, lives.lower, lives.seen_until)
    largest = float(lives.seen_until.max())
    run = float(np.sum(lives.count * ((until / largest) ** shape - (lives.entry / largest) ** shape)))
    life = largest * (run / max(lives.failures, 1.0)) ** (1 / shape)
    low = largest * (run / float(gammaincinv(lives.failures + 1, checked_share(confidence)))) ** (1 / shape)
    return Weibayes(shape, life, low, lives.failures)


def weibayes_range(lives: Lives, shape: float, *, confidence: float = 0.95) -> tuple[Weibayes, Weibayes, Weibayes]:
    """Return the same with the shape at 0.7 times, as borrowed, and at 1.4 times: shown beside each other."""
    low, middle, high = (weibayes(lives, shape * factor, confidence=confidence) for factor in (TOO_LOW, 1.0, TOO_HIGH))
    return low, middle, high
