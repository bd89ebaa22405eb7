"""Go/no-go gauges as intervals, against scipy.stats and plain integration; readings that do not fit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, truncnorm

from services.wear_gauge import interval_moments, learn
from services.wear_model import SHAPES, Point, Values, series_of

CHAIN = Values((0.0, 0.11), (0.02, 0.045), 0.012, 0.025)
STRAIGHT = SHAPES["straight"]
AT_3 = np.array([[3.0]])


def told(*points):
    mean, sd = learn(STRAIGHT, CHAIN, series_of([list(points)])).wear(AT_3)
    return mean[0, 0], sd[0, 0]


@given(st.floats(-6, 6), st.floats(0.05, 8))
@settings(max_examples=100)
def test_moments_of_an_interval_are_those_of_a_truncated_normal(low, width):
    mean, variance = interval_moments(np.array(low), np.array(low + width))
    theirs = truncnorm(low, low + width)  # scipy.stats
    assert mean == pytest.approx(theirs.mean(), abs=1e-6)
    assert variance == pytest.approx(theirs.var(), abs=1e-6)


@pytest.mark.parametrize(("low", "high", "mean"), [(-np.inf, 0.0, -0.7978845608), (0.5, np.inf, 1.1410777703)])
def test_moments_of_an_open_interval(low, high, mean):  # -phi(0)/Phi(0); phi(.5)/Phi(-.5), tables of the normal law
    assert interval_moments(np.array(low), np.array(high))[0] == pytest.approx(mean, abs=1e-9)


def test_one_gauge_reading_is_bayes_rule_integrated():
    # 0.5 fits, 0.75 does not, at 3,000 km: prior N(.33, .0186), gauge .025, integrated over a fine grid
    sd = np.sqrt(0.02**2 + 9 * 0.045**2 + 3 * 0.012**2)
    wear = np.linspace(-0.5, 1.5, 200_001)
    weight = norm.pdf(wear, 0.33, sd) * (norm.cdf(0.75, wear, 0.025) - norm.cdf(0.5, wear, 0.025))
    mean = (wear * weight).sum() / weight.sum()
    spread = np.sqrt(((wear - mean) ** 2 * weight).sum() / weight.sum())
    assert told(Point(3.0, 0.5, 0.75)) == pytest.approx((mean, spread), abs=1e-4)


def test_two_gauge_readings_agree_with_sampling():
    # a million draws of rate, start and wander, kept where both gauges tell what they told
    random = np.random.default_rng(3)
    start, rate = 0.02 * random.standard_normal(1_000_000), 0.11 + 0.045 * random.standard_normal(1_000_000)
    at_2 = start + 2 * rate + 0.012 * np.sqrt(2) * random.standard_normal(1_000_000)
    at_3 = at_2 + rate + 0.012 * random.standard_normal(1_000_000)
    seen_2, seen_3 = (true + 0.025 * random.standard_normal(1_000_000) for true in (at_2, at_3))
    kept = at_3[(seen_2 < 0.5) & (seen_3 >= 0.5) & (seen_3 < 0.75)]
    mean, sd = told(Point(2.0, -np.inf, 0.5), Point(3.0, 0.5, 0.75))
    assert mean == pytest.approx(kept.mean(), abs=0.002)
    assert sd == pytest.approx(kept.std(), abs=0.002)


def test_a_gauge_that_fits_everything_teaches_nothing():
    assert told(Point(2.0, -50.0, 50.0)) == pytest.approx(told(), rel=1e-3)


def test_a_narrow_interval_is_a_number():
    assert told(Point(3.0, 0.4199, 0.4201)) == pytest.approx(told(Point(3.0, 0.42, 0.42)), abs=1e-5)


def test_a_gauge_narrows_the_range_and_moves_the_mean_into_it():
    mean, sd = told(Point(3.0, 0.5, 0.75))
    assert 0.5 < mean < 0.75
    assert sd < told()[1]


def test_a_reading_that_does_not_fit_is_laid_aside():
    points = [Point(1.0, 0.11, 0.11), Point(2.0, 0.47, 0.47), Point(3.0, 0.33, 0.33), Point(4.0, 0.44, 0.44)]
    learnt = learn(STRAIGHT, CHAIN, series_of([points]))
    assert learnt.dropped.tolist() == [[False, True, False, False]]


def test_at_most_two_are_laid_aside_the_worst_first():
    good = [Point(u, 0.11 * u, 0.11 * u) for u in (1.0, 2.0, 3.0, 4.0)]
    bad = [Point(1.5, 1.6, 1.6), Point(2.5, 1.2, 1.2), Point(3.5, 1.1, 1.1)]
    learnt = learn(STRAIGHT, CHAIN, series_of([[*good, *bad]]))
    assert learnt.dropped.sum() == 2
    assert learnt.dropped[0, 4]


def test_a_gauge_reading_far_from_the_rest_is_laid_aside():
    points = [Point(1.0, 0.11, 0.11), Point(2.0, 0.22, 0.22), Point(3.0, 0.75, np.inf)]
    assert learn(STRAIGHT, CHAIN, series_of([points])).dropped.tolist() == [[False, False, True]]
