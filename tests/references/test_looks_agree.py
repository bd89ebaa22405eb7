"""Curves of failures found at looks, on 200 seeded sets, against two libraries only used here, at ages outside every stretch.

surpyval agrees to 1e-4, all but a few sets to 1e-8. lifelines counts the last look as an age at which a part may have failed
and stops when a round changes little: its sets have no two looks at one age, it comes within 0.03, and its curve is never the
likelier one. Neither reckons late
entries with looks as Frydman (1994) does: tests/services/life_data holds those against Kaplan-Meier and shares worked by hand.
"""

import lifelines
import numpy as np
import pytest
import surpyval

from services.life_data.lives import Lives, observed
from services.life_data.turnbull import Stretches, turnbull

SETS = 200
pytestmark = pytest.mark.filterwarnings("ignore")


def lives_number(number: int) -> Lives:
    """20 to 80 parts looked at every now and then."""
    rng = np.random.default_rng([1976, number])
    n = int(rng.integers(20, 80))
    life, end = 100 * rng.weibull(rng.uniform(0.8, 3), n), rng.uniform(20, 150, n)
    step = rng.choice([10.0, 20.0, 30.0], n)
    before = np.floor(life / step) * step
    found = before + step <= end
    age = np.where(found, before + step, np.maximum(np.minimum(before, np.floor(end)), 0.5))
    return observed(age, found, last_good=np.where(found, before, np.nan))


def outside(found: Stretches) -> np.ndarray:
    """Ages at which the curve is the same wherever it falls within its stretches."""
    ends = np.concatenate([found.left[1:], found.right[np.isfinite(found.right)]])
    least, most = found.between(ends)
    return ends[np.abs(least - most) < 1e-12]


@pytest.mark.parametrize("number", range(SETS))
def test_looks_against_surpyval(number):
    lives = lives_number(number)
    theirs = surpyval.Turnbull.fit(xl=lives.lower, xr=lives.upper, turnbull_estimator="Kaplan-Meier", max_iter=20_000)
    ours = turnbull(lives)
    at = outside(ours)
    assert ours.off < 1e-9
    assert ours.between(at)[0] == pytest.approx(theirs.sf(at), abs=1e-4)


@pytest.mark.parametrize("number", range(0, SETS, 10))
def test_looks_against_lifelines(number):
    lives = lives_number(number)
    apart = 1e-3 * np.arange(1, len(lives.lower) + 1)  # no two looks at one age: first and last looks apart too
    low, high = lives.lower + apart, np.where(lives.survived, np.inf, lives.upper + apart + 5e-4)
    fitter = lifelines.KaplanMeierFitter().fit_interval_censoring(low, high, tol=1e-7)
    theirs = fitter.survival_function_["NPMLE_estimate_lower"]  # as if all failed right after the last look
    ours = turnbull(observed(np.where(lives.survived, low, high), ~lives.survived, last_good=low))
    at = ours.right[np.isfinite(ours.right)]
    step = np.searchsorted(theirs.index.to_numpy(), at, side="right") - 1
    assert ours.between(at)[0] == pytest.approx(theirs.to_numpy()[step], abs=0.03)
    assert (
        log_likelihood(ours.between(at)[0], at, low, high)
        >= log_likelihood(theirs.to_numpy()[step], at, low, high) - 1e-9
    )


def log_likelihood(survival: np.ndarray, at: np.ndarray, low: np.ndarray, high: np.ndarray) -> float:
    """Of looks (last good, first bad or inf), by a curve that falls at the ages `at` to `survival`."""
    curve = np.append(1.0, survival)
    until = np.where(np.isinf(high), 0.0, curve[np.searchsorted(at, high, side="right")])
    return float(np.log(np.maximum(curve[np.searchsorted(at, low, side="right")] - until, 1e-300)).sum())
