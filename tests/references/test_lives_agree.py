"""Weibull fits, limits and survival curves on 200 seeded sets of lives, against libraries that are only ever used here.

Tolerance 1e-5 relative where the method is the same; Wald limits 1e-4, because surpyval takes its slopes numerically.
"""

import warnings

import lifelines
import numpy as np
import pytest
import surpyval
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

from services.life_data.few_failures import rate_limits, share_limits
from services.life_data.lives import Lives, observed
from services.life_data.survival import at_ages, kaplan_meier, nelson_aalen
from services.life_data.weibull import fit
from services.life_data.weibull_likelihood import slopes
from services.life_data.weibull_limits import fisher_limits, likelihood_limits

SETS = 200
SEED = 841
REL = 1e-5
TIGHT = {"ftol": 1e-15, "gtol": 1e-10}
STOPS_SHORT = 5e-5  # lifelines, even asked for more digits, in one set of forty
pytestmark = pytest.mark.filterwarnings("ignore")


def lives_number(number: int, *, late: bool = False, looked: bool = False) -> Lives:
    """One set of 20 to 80 lives with at least 8 failures, ages in km; asked for, with late entries or looks."""
    rng = np.random.default_rng([SEED, number])
    while True:
        n = int(rng.integers(20, 80))
        shape, scale = rng.uniform(0.7, 4.0), 10 ** rng.uniform(1, 4.5)
        life, end = scale * rng.weibull(shape, n), scale * rng.uniform(0.2, 2.0, n)
        failed, age = life <= end, np.minimum(life, end)
        if number % 2:
            age = np.ceil(age / scale * 20) * scale / 20  # ties
        entry = np.where(rng.random(n) < 0.4, 0.3 * scale * rng.random(n), 0.0) if late else np.zeros(n)
        kept = age > entry
        step = scale / 4
        before = np.ceil(age / step) * step - step
        last_good = np.where(failed & (rng.random(n) < 0.6) & (before < age), before, np.nan) if looked else None
        if failed[kept].sum() >= 8:
            taken = None if last_good is None else last_good[kept]
            return observed(age[kept], failed[kept], entry=entry[kept], last_good=taken)


def _arrays(lives: Lives) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return lives.seen_until, ~lives.survived, lives.entry


@pytest.fixture(autouse=True)
def _quiet():
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        yield


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("number", range(0, SETS, 8))
def test_survivors_and_late_entries_against_lifelines(number, late):
    lives = lives_number(number, late=late)
    age, failed, entry = _arrays(lives)
    scale = age.max()
    theirs = lifelines.WeibullFitter().fit(age / scale, failed, entry=entry / scale, fit_options=TIGHT)
    ours = fit(lives)
    assert [ours.shape, ours.life / scale] == pytest.approx([theirs.rho_, theirs.lambda_], rel=STOPS_SHORT)
    at_theirs = slopes(ours.terms, np.log(theirs.lambda_ * scale), np.log(theirs.rho_)).value
    assert ours.log_likelihood >= at_theirs - 1e-12 * abs(at_theirs)


@pytest.mark.parametrize("number", range(SETS))
def test_survivors_against_surpyval(number):
    lives = lives_number(number)
    age, failed, _ = _arrays(lives)
    life, shape = surpyval.Weibull.fit(age, c=(~failed).astype(int)).params
    ours = fit(lives)
    assert [ours.shape, ours.life] == pytest.approx([shape, life], rel=REL)


@pytest.mark.parametrize("number", range(SETS))
def test_late_entries_against_surpyval(number):
    lives = lives_number(number, late=True)
    age, failed, entry = _arrays(lives)
    life, shape = surpyval.Weibull.fit(age, c=(~failed).astype(int), tl=entry).params
    ours = fit(lives)
    assert [ours.shape, ours.life] == pytest.approx([shape, life], rel=REL)


@pytest.mark.parametrize("number", range(0, SETS, 4))
def test_failures_between_looks_against_scipy(number):
    lives = lives_number(number, looked=True)
    scale = lives.seen_until.max()
    data = stats.CensoredData.interval_censored(lives.lower / scale, lives.upper / scale)
    shape, _, life = stats.weibull_min.fit(data, 1.5, scale=1.0, floc=0, optimizer=_tight)
    ours = fit(lives)
    assert [ours.shape, ours.life / scale] == pytest.approx([shape, life], rel=REL)


def _tight(what, start, args=(), disp=0):
    """scipy's own search, asked for more digits."""
    from scipy.optimize import fmin

    return fmin(what, start, args=args, disp=disp, xtol=1e-9, ftol=1e-12, maxiter=2000, maxfun=4000)


@pytest.mark.parametrize("number", range(0, SETS, 10))
def test_limits_against_surpyval(number):
    lives = lives_number(number)
    age, failed, _ = _arrays(lives)
    theirs = surpyval.Weibull.fit(age, c=(~failed).astype(int))
    ours = fit(lives)
    for quantity, name in (("life", "alpha"), ("shape", "beta")):
        wald = theirs.param_cb(name, alpha_ci=0.1)
        assert sorted(fisher_limits(ours, quantity)) == pytest.approx(sorted(np.ravel(wald)), rel=1e-4)
        ratio = theirs.param_cb(name, alpha_ci=0.1, method="LR")
        assert sorted(likelihood_limits(ours, quantity)) == pytest.approx(sorted(np.ravel(ratio)), rel=REL)


@pytest.mark.parametrize("number", range(SETS))
def test_curves_against_statsmodels_with_late_entries(number):
    lives = lives_number(number, late=True)
    age, failed, entry = _arrays(lives)
    theirs = SurvfuncRight(age, failed.astype(int), entry=entry)
    ours = kaplan_meier(lives)
    assert at_ages(ours, theirs.surv_times, 1.0) == pytest.approx(theirs.surv_prob, rel=REL)


@pytest.mark.parametrize("number", range(0, SETS, 4))
def test_curves_and_limits_against_lifelines(number):
    lives = lives_number(number)
    age, failed, _ = _arrays(lives)
    curve, hazard = kaplan_meier(lives), nelson_aalen(lives)
    theirs = lifelines.KaplanMeierFitter().fit(age, failed)
    limits = theirs.confidence_interval_.loc[curve.age].to_numpy()
    known = curve.value > 0
    assert curve.value == pytest.approx(theirs.survival_function_.loc[curve.age].to_numpy()[:, 0], rel=REL)
    assert np.column_stack([curve.lower, curve.upper])[known] == pytest.approx(limits[known], rel=REL)
    sums = lifelines.NelsonAalenFitter(nelson_aalen_smoothing=False).fit(age, failed)
    assert hazard.value == pytest.approx(sums.cumulative_hazard_.loc[curve.age].to_numpy()[:, 0], rel=REL)


@pytest.mark.parametrize("number", range(SETS))
def test_exact_limits_against_scipy(number):
    rng = np.random.default_rng([SEED, number])
    n, exposure, confidence = int(rng.integers(1, 60)), rng.uniform(0.1, 1e5), rng.uniform(0.5, 0.99)
    r = int(rng.integers(0, n + 1))
    theirs = stats.binomtest(r, n).proportion_ci(confidence, method="exact")
    assert list(share_limits(r, n, confidence=confidence)) == pytest.approx(list(theirs), rel=REL)
    tail = (1 - confidence) / 2
    low = stats.chi2.ppf(tail, 2 * r) / 2 / exposure if r else 0.0
    ours = rate_limits(r, exposure, confidence=confidence)
    assert list(ours) == pytest.approx([low, stats.chi2.ppf(1 - tail, 2 * r + 2) / 2 / exposure], rel=REL)
