"""The two-parameter Weibull life: fitted by maximum likelihood to failures, survivors, looks and late entries.

R(t) = exp(-(t/life)^shape). `life` is the age 63.2 % do not reach; B10 the age 10 % do not reach. The estimate without looks is
the root of the profile score in the shape alone (Cohen 1965, Technometrics 7:579), safeguarded Newton; with looks a damped
Newton in both. Use it from about 10 failures on; below, `few_failures`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from services.errors import Refusal
from services.life_data.lives import Array, Lives
from services.life_data.weibull_likelihood import Slopes, Terms, dot, slopes, terms_of

LOWEST, HIGHEST = np.log(1e-3), np.log(1e3)  # ln of shapes outside which there is no finite estimate
ROUNDS = 200
DONE = 1e-8  # last step in ln(shape); the one after it would be its square
REMEDY = "Show what ran and the limit that few failures allow instead of a curve."


class NoFiniteFit(Refusal):
    """No Weibull curve is the likeliest: none failed, or only the oldest, or all at one age that nobody outlived."""

    code = "no-finite-fit"


@dataclass(frozen=True)
class Weibull:
    """A fitted life. life in the unit of the ages; covariance (2, 2) of ln(life) and ln(shape), inverse observed information."""

    shape: float
    life: float
    log_likelihood: float
    covariance: Array
    failures: float
    lives: Lives
    terms: Terms

    @property
    def log_life(self) -> float:
        """ln(life): where the likelihood is steered by."""
        return float(np.log(self.life))

    @property
    def log_shape(self) -> float:
        """ln(shape)."""
        return float(np.log(self.shape))


def fit(lives: Lives) -> Weibull:
    """Return the likeliest Weibull life. Raises NoFiniteFit where there is none (see there)."""
    _refuse_unbounded(lives)
    terms = terms_of(lives)
    if len(terms.low_x):
        u, a = _both(terms, *_profiled(terms_of(_at_middles(lives))))
    else:
        u, a = _profiled(terms)
    found = slopes(terms, u, a)
    covariance = _inverse_information(found)
    return Weibull(float(np.exp(a)), float(np.exp(u)), float(found.value), covariance, lives.failures, lives, terms)


def b_life(fitted: Weibull, share: ArrayLike = 0.10) -> Array:
    """Return the age by which this share (0 to 1) has failed: B10 for 0.10, B50 for 0.50."""
    return fitted.life * (-np.log1p(-np.asarray(share, float))) ** (1 / fitted.shape)


def still_good(fitted: Weibull, age: ArrayLike) -> Array:
    """Return the share that reaches each age."""
    return np.exp(-((np.asarray(age, float) / fitted.life) ** fitted.shape))


def _refuse_unbounded(lives: Lives) -> None:
    """No failure, or none that anything outlived: the likelihood rises without end."""
    failed = ~lives.survived
    if not failed.any():
        raise NoFiniteFit("Nothing has failed yet: there is no curve to fit.", remedy=REMEDY)
    oldest = lives.seen_until.max()
    if not np.any(failed & (lives.lower < oldest)):
        raise NoFiniteFit("Only the oldest have failed, all at one age: any steep curve fits.", remedy=REMEDY)


def _at_middles(lives: Lives) -> Lives:
    """Failures between two looks put half way: good enough to start from."""
    middle = np.where(lives.between, (lives.lower + lives.seen_until) / 2, lives.lower)
    entry = np.minimum(lives.entry, 0.99 * middle)
    return Lives(entry, middle, np.where(lives.survived, np.inf, middle), lives.count, lives.mode)


def _profiled(terms: Terms) -> tuple[float, float]:
    """(u, a) where the profile score in the shape is zero. Newton in a = ln(shape), halving where it would leave its bracket."""
    x, weight = terms.x, terms.weight
    powers = np.empty_like(x)  # worked on in place: fresh memory costs more than the arithmetic
    mean_x = terms.exact_x / terms.exact
    low, high, a, moved = LOWEST, HIGHEST, 0.0, 1.0
    while moved > DONE:
        shape = np.exp(a)
        np.exp(np.multiply(x, shape, out=powers), out=powers)
        powers *= weight
        total = float(powers.sum())
        slope_x = dot(x, powers) / total
        score = slope_x - 1 / shape - mean_x
        low, high = (a, high) if score < 0 else (low, a)
        powers *= x
        bend = shape * (dot(x, powers) / total - slope_x**2) + 1 / shape
        aim = a - score / bend
        aim = aim if bend > 0 and low < aim < high else (low + high) / 2
        a, moved = aim, abs(aim - a)
    shape = _finite(a)
    return float(np.log(dot(weight, np.exp(shape * x)) / terms.exact) / shape + terms.log_top), a


def _both(terms: Terms, u: float, a: float) -> tuple[float, float]:
    """(u, a) of the largest likelihood from a start: Newton, damped until the likelihood rises (Levenberg 1944)."""
    here, damping, moved, rounds = slopes(terms, u, a), 0.0, 1.0, 0
    while moved > DONE and LOWEST < a < HIGHEST and rounds < ROUNDS:
        rounds += 1
        by_u, by_a = _step(here, damping)
        moved = max(abs(by_u), abs(by_a))
        there = slopes(terms, u + by_u, a + by_a)
        if there.value >= here.value - 1e-12 * abs(here.value):
            u, a, here, damping = u + by_u, a + by_a, there, damping / 10 if damping > 1e-3 else 0.0
        else:
            damping = max(10 * damping, 1e-3)
    hill = here.by_uu < 0 and here.by_uu * here.by_aa > here.by_ua**2
    _finite(
        a if hill and moved <= DONE else np.inf
    )  # no hill: a ridge that never ends, as when every look came too late
    return u, a


def _step(at: Slopes, damping: float) -> tuple[float, float]:
    """A step uphill of at most 1 each way: Newton where the likelihood is a hill, else along its slope."""
    added = damping * (abs(at.by_uu) + abs(at.by_aa))
    uu, aa, ua = added - at.by_uu, added - at.by_aa, -at.by_ua
    det = uu * aa - ua * ua
    if not (uu > 0 and det > 0):
        size = 1 + abs(at.by_uu) + abs(at.by_aa)
        return at.by_u / size, at.by_a / size
    by_u, by_a = (aa * at.by_u - ua * at.by_a) / det, (uu * at.by_a - ua * at.by_u) / det
    largest = max(1.0, abs(by_u), abs(by_a))
    return by_u / largest, by_a / largest


def _finite(a: float) -> float:
    """The shape of a = ln(shape), refused at the ends of what was searched."""
    if not LOWEST + 0.01 < a < HIGHEST - 0.01:
        raise NoFiniteFit("The likelier the steeper, or the flatter: these failures fit no one curve.", remedy=REMEDY)
    return float(np.exp(a))


def _inverse_information(at: Slopes) -> Array:
    """Covariance (2, 2) of ln(life) and ln(shape)."""
    det = at.by_uu * at.by_aa - at.by_ua**2
    return np.array([[-at.by_aa, at.by_ua], [at.by_ua, -at.by_uu]]) / det
