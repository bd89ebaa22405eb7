"""When to replace a part before it fails, how many failures to expect, and how many parts to hold.

Replacing by age pays only if parts wear out (shape clearly above 1) and a failure costs clearly more than a planned change;
otherwise the answer is "run it and inspect". The cost curve is flat about its lowest point: the exact age rarely matters.
Weibull lives; ages in the unit of the scale. Source: R. Barlow and F. Proschan, Mathematical Theory of Reliability (1965),
chapter 4, section 2.1 (replacement by age).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaln

from services.life_data.counts import BadCounts, check_life
from services.life_data.warning import expected_failures, likely_range, most_with, spread_of_expected
from services.units import say_share

RUN_AND_INSPECT = "no optimum: run it and inspect"
FLAT = 0.05  # costs within this share of the lowest are as good (common practice, no source)
LEAST_SAVING = 0.1  # a saving below this share is not worth a plan (common practice, no source)
_HALVINGS = 80
_FARTHEST = 60.0  # scales: later optima are none, every part has failed long before


@dataclass(frozen=True)
class Optimum:
    """The age of least cost, in the unit of the scale; infinite where there is none.

    cost, cost_of_running: per unit of age, replaced at that age and only when failed. saving: share of the latter.
    low, high: where the age lies in nine of ten draws of the fit. flat_from, flat_until: ages that cost at most 5 % more.
    share_without: draws of the fit that have no optimum.
    """

    age: float
    cost: float
    cost_of_running: float
    low: float
    high: float
    flat_from: float
    flat_until: float
    share_without: float

    @property
    def saving(self) -> float:
        """Share of the cost of running to failure that the plan saves."""
        return 1.0 - self.cost / self.cost_of_running


@dataclass(frozen=True)
class Proposal:
    """An interval to propose, None to leave things as they are, and why in a sentence."""

    interval: float | None
    words: str


@dataclass(frozen=True)
class Ahead:
    """Failures expected within the time ahead, the range of nine in ten outcomes, and parts to hold for it."""

    expected: float
    low: int
    high: int
    hold: int


def _check(shape: ArrayLike, scale: ArrayLike, planned: float, failure: float) -> None:
    check_life(shape, scale)
    if not (planned > 0 and failure > 0):
        raise BadCounts("Both changes cost something.", field="planned")


def cost_at(age: ArrayLike, shape: ArrayLike, scale: ArrayLike, planned: float, failure: float) -> np.ndarray:
    """Return the long-run cost per unit of age of replacing at each age (infinite: only when failed).

    planned, failure: cost of a planned change and of a failure, in any one currency. All arrays broadcast.
    Cost of one cycle over its mean length: (planned R + failure F) / integral of R from 0. Raises BadCounts.
    """
    _check(shape, scale, planned, failure)
    x = np.asarray(age, dtype=float) / scale
    if not (x > 0).all():
        raise BadCounts("A part is replaced at an age above 0.", field="age")
    with np.errstate(over="ignore"):  # a steep shape far out: all have failed, and infinity says so
        failed = -np.expm1(-(x ** np.asarray(shape, dtype=float)))
    return (planned * (1.0 - failed) + failure * failed) / (scale * _lived(x, shape))


def _lived(x: np.ndarray, shape: ArrayLike) -> np.ndarray:
    """Mean length of a cycle that ends at x at the latest, in scales."""
    inverse = 1.0 / np.asarray(shape, dtype=float)
    with np.errstate(over="ignore"):  # as above: the whole mean life is lived
        failing = x**shape
    lived = np.exp(gammaln(1.0 + inverse)) * gammainc(inverse, failing)
    return np.where(failing < 1e-15, x, lived)  # before anything fails a cycle is as long as it is


def optimal_age(shape: ArrayLike, scale: ArrayLike, planned: float, failure: float) -> np.ndarray:
    """Return the age of least cost for each life; infinite for shapes of 1 or less, or where a failure costs no more.

    The root of hazard x (mean length of a cycle) - F = planned / (failure - planned), whose left side rises with age when
    the shape is above 1; by halving, all lives at once. Raises BadCounts.
    """
    _check(shape, scale, planned, failure)
    b, unit = np.broadcast_arrays(np.asarray(shape, dtype=float), np.asarray(scale, dtype=float))
    if failure <= planned:
        return np.full(b.shape, np.inf)
    asked = planned / (failure - planned)
    wears = np.where(b > 1.0, b, 2.0)
    low, high = np.full(b.shape, np.log(1e-9)), np.full(b.shape, np.log(_FARTHEST))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        late = _left_side(np.exp(middle), wears) > asked
        low, high = np.where(late, low, middle), np.where(late, middle, high)
    reached = (b > 1.0) & (_left_side(np.full(b.shape, _FARTHEST), wears) > asked)
    return np.where(reached, np.exp(0.5 * (low + high)) * unit, np.inf)


def _left_side(x: np.ndarray, shape: np.ndarray) -> np.ndarray:
    with np.errstate(over="ignore"):  # an infinite hazard is more than any that is asked for
        return shape * x ** (shape - 1.0) * _lived(x, shape) + np.expm1(-(x**shape))


def optimum(
    shape: float, scale: float, planned: float, failure: float, covariance: ArrayLike | None = None,
    draws: int = 2000, seed: int = 1,
) -> Optimum:  # fmt: skip
    """Return the age of least cost with its range from the covariance (2, 2) of (ln scale, ln shape).

    The fit is drawn as a normal on the log scale, with a fixed seed. Without a covariance the range is the age itself.
    Raises BadCounts.
    """
    age = float(optimal_age(shape, scale, planned, failure))
    low, high, without = _range_of_age(shape, scale, planned, failure, covariance, draws, seed)
    running = float(cost_at(np.inf, shape, scale, planned, failure))
    if not np.isfinite(age):
        return Optimum(age, running, running, low, high, age, age, without)
    cost = float(cost_at(age, shape, scale, planned, failure))
    grid = age * np.exp(np.linspace(-3.0, 3.0, 1201))
    flat = grid[cost_at(grid, shape, scale, planned, failure) <= cost * (1.0 + FLAT)]
    return Optimum(age, cost, running, low, high, float(flat[0]), float(flat[-1]), without)


def _range_of_age(
    shape: float, scale: float, planned: float, failure: float, covariance: ArrayLike | None, draws: int, seed: int
) -> tuple[float, float, float]:
    spread = np.zeros((2, 2)) if covariance is None else np.asarray(covariance, dtype=float)
    drawn = np.random.default_rng(seed).multivariate_normal([np.log(scale), np.log(shape)], spread, draws)
    ages = np.sort(optimal_age(np.exp(drawn[:, 1]), np.exp(drawn[:, 0]), planned, failure))
    return float(ages[int(0.05 * draws)]), float(ages[int(0.95 * draws)]), float(np.mean(np.isinf(ages)))


def propose_interval(
    found: Optimum, shape_low: float, unit: str = "km",
    now: float | None = None, makers_limit: float | None = None, safety_critical: bool = False,
) -> Proposal:  # fmt: skip
    """Return an interval to propose, in the same unit, or None: leave it.

    shape_low: lower limit of the shape; at 1 or below no age limit is justified. now: the interval in use, None: none.
    On a safety-critical part neither the maker's limit nor the interval in use is ever lengthened; on others a longer one
    is only said to differ from the maker's. A saving below 10 % is not worth a plan.
    """
    if shape_low <= 1.0 or not np.isfinite(found.age):
        return _stay(RUN_AND_INSPECT + ".", unit, makers_limit, safety_critical)
    if found.saving < LEAST_SAVING:
        words = f"Replacing by age would save only {say_share(found.saving)}: {RUN_AND_INSPECT}."
        return _stay(words, unit, makers_limit, safety_critical)
    best = _round(found.age)
    limits = [limit for limit in (makers_limit, now) if limit is not None]
    if safety_critical and limits and min(limits) <= best:
        return Proposal(
            None, f"Leave it at {min(limits):,.0f} {unit}: on a safety-critical part a limit is never lengthened."
        )
    words = (
        f"Replace at {best:,.0f} {unit} (anything from {_round(found.flat_from):,.0f} to {_round(found.flat_until):,.0f}"
        f" costs about the same): saves about {say_share(found.saving)} against running to failure."
    )
    if makers_limit is not None and best > makers_limit:
        words += f" The maker says {makers_limit:,.0f} {unit}: ask before going beyond it."
    return Proposal(best, words)


def _stay(words: str, unit: str, makers_limit: float | None, safety_critical: bool) -> Proposal:
    words = words[0].upper() + words[1:]
    if safety_critical and makers_limit is not None:
        words += f" The maker's limit of {makers_limit:,.0f} {unit} stays."
    return Proposal(None, words)


def _round(age: float) -> float:
    """Down to two digits: a plan is not more exact than that."""
    step = 10.0 ** (np.floor(np.log10(age)) - 1.0)
    return float(np.floor(age / step * (1.0 + 1e-12)) * step)


def look_ahead(
    shape: float, scale: float, age: ArrayLike, further: ArrayLike, covariance: ArrayLike | None = None,
    parts: ArrayLike = 1.0, level: float = 0.95,
) -> Ahead:  # fmt: skip
    """Return the failures to expect of the parts in the field while each goes `further`, and how many to hold.

    age, further, parts (n,): parts of that age, and what each will run in the time ahead (12 months). hold: parts that
    suffice with chance `level`, by a Poisson count, widened when the covariance of (ln scale, ln shape) is given. A
    replacement that fails again within the time ahead is not counted. Raises BadCounts.
    """
    count = expected_failures(shape, scale, age, further, parts)
    spread = 0.0 if covariance is None else spread_of_expected(shape, scale, covariance, age, further, parts)
    low, high = likely_range(count, spread)
    return Ahead(count, low, high, most_with(count, level, spread))
