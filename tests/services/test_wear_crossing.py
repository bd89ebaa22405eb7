"""When a limit is met: exact series, the inverse-Gaussian law of scipy.stats, order of quantiles, change of unit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import invgauss, norm

from services.units import KM_PER_MILE
from services.wear_crossing import chance_curve, crossings, first_passage, past_already
from services.wear_gauge import learn
from services.wear_model import SHAPES, Point, Values, series_of

LEVELS = (0.1, 0.5, 0.9)
CHAIN = Values((0.0, 0.11), (0.02, 0.045), 0.012, 0.025)
STRAIGHT = SHAPES["straight"]
series = st.lists(st.tuples(st.floats(0.1, 9.0), st.floats(-0.1, 1.0)), max_size=5)


def learnt(pairs, values=CHAIN, shape=STRAIGHT):
    return learn(shape, values, series_of([[Point(u, y, y) for u, y in pairs]]))


def known_drift(drift, wander):
    """A part whose drift is known: only the random part is left."""
    return learn(SHAPES["leak"], Values((drift,), (1e-9,), wander, 0.01), series_of([[]]))


def test_an_exact_straight_series_gives_its_crossing():
    # 0.05, 0.12, 0.19, 0.26 % at 0, 1,000, 2,000, 3,000 km: 0.75 % at 10,000 km, 0.5 % at 6,428.6 km (least squares)
    loose = Values((0.0, 0.1), (0.1, 0.1), 0.0, 1e-4)
    part = learnt([(0, 0.05), (1, 0.12), (2, 0.19), (3, 0.26)], loose)
    assert crossings(part, 0.75, LEVELS, 60.0)[0] == pytest.approx([10.0] * 3, rel=1e-2)
    assert crossings(part, 0.75, (0.5,), 60.0)[0, 0] == pytest.approx(10.0, rel=1e-4)
    assert crossings(part, 0.5, LEVELS, 60.0)[0] == pytest.approx([6.428571] * 3, rel=1e-2)


def test_a_line_through_four_readings_is_that_of_least_squares():
    # least squares, calculated: slope 7.0e-5 % a km; 0.75 % at 10,000 km and 0.5 % at 6,428.6 km, each to 0.1 km.
    # A prior 1,000 gauges wide draws the line by a millionth; one of 10,000 leaves rounding alone of the variance, which
    # then differs from one processor to the next (no gauge is read to a ten-thousandth of what parts differ by).
    part = learnt([(0, 0.05), (1, 0.12), (2, 0.19), (3, 0.26)], Values((0.0, 0.1), (0.1, 0.1), 0.0, 1e-4))
    assert np.diff(part.wear(np.array([[3.0, 4.0]]))[0][0])[0] / 1000 == pytest.approx(7.0e-5, abs=1e-8)
    assert crossings(part, 0.75, (0.5,), 60.0)[0, 0] * 1000 == pytest.approx(10_000, abs=0.1)
    assert crossings(part, 0.5, (0.5,), 60.0)[0, 0] * 1000 == pytest.approx(6428.6, abs=0.1)


@given(st.floats(0.05, 0.3), st.floats(-0.05, 0.05), st.lists(st.floats(1.0, 2.0), max_size=4))
@settings(deadline=None, max_examples=30)
def test_any_exact_straight_series_gives_its_crossing(slope, start, u):
    loose = Values((0.0, 0.1), (0.1, 0.1), 0.0, 1e-4)
    middle = crossings(learnt([(at, start + slope * at) for at in (0.5, *u, 3.0)], loose), 0.75, (0.5,), 60.0)[0, 0]
    assert middle == pytest.approx((0.75 - start) / slope, rel=5e-3)


@pytest.mark.parametrize(("drift", "wander", "limit"), [(0.113, 0.05, 0.3), (1.0, 0.66, 6.0), (1.0, 2.0, 6.0)])
def test_first_passage_is_the_inverse_gaussian_law(drift, wander, limit):
    t = np.array([0.3, 1.0, 2.0, 4.0, 8.0])
    mean, shape = limit / drift, limit**2 / wander**2
    theirs = invgauss(mean / shape, scale=shape).cdf(t)  # scipy.stats
    assert first_passage(drift * t, np.full(5, limit), wander**2 * t) == pytest.approx(theirs, abs=1e-12)
    assert chance_curve(known_drift(drift, wander), limit, t[None])[0] == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize(
    ("drift", "wander", "limit", "plain", "passage"),
    [(0.113, 0.0121, 0.3, 2.440, 2.435), (0.113, 0.05, 0.3, 1.878, 1.818), (1.0, 0.66, 6.0, 4.255, 4.122)],
)  # a prototype's figures: the 10 % quantile by the plain normal law and by the inverse Gaussian
def test_first_passage_matters_where_the_drift_is_weak(drift, wander, limit, plain, passage):
    by_normal = np.interp(0.1, norm.cdf((drift * (t := np.linspace(0.01, 9, 9000)) - limit) / (wander * np.sqrt(t))), t)
    assert by_normal == pytest.approx(plain, abs=0.002)
    expected = plain if 2 * drift * limit / wander**2 >= 100 else passage
    assert crossings(known_drift(drift, wander), limit, (0.1,), 60.0)[0, 0] == pytest.approx(expected, abs=0.002)


def test_what_is_at_its_limit_has_met_it():
    assert first_passage(np.array([0.1, -5.0]), np.array([0.0, -0.1]), np.array([1.0, 1.0])).tolist() == [1.0, 1.0]


def test_a_wandering_part_agrees_with_simulated_paths():
    # 20,000 paths of unknown drift N(1, .3), wander 1, limit 3, after a reading of 1.0 +- .3 at u = 1
    random = np.random.default_rng(8)
    values = Values((1.0,), (0.3,), 1.0, 0.3)
    drift, step = 1 + 0.3 * random.standard_normal(20_000), 0.01
    at_1 = drift + random.standard_normal(20_000)
    weight = norm.pdf(1.0, at_1, 0.3)
    path, met = at_1, np.where(at_1 >= 3, 1.0, 0.0)
    for _ in range(300):
        onward = path + drift * step + np.sqrt(step) * random.standard_normal(20_000)
        gap = np.maximum(3 - path, 0) * np.maximum(3 - onward, 0)
        met = 1 - (1 - met) * (1 - np.exp(-2 * gap / step))  # a Brownian bridge between the steps
        path = onward
    theirs = (met * weight).sum() / weight.sum()
    part = learnt([(1.0, 1.0)], values, SHAPES["leak"])
    assert chance_curve(part, 3.0, np.array([[4.0]]))[0, 0] == pytest.approx(theirs, abs=0.02)


@given(series, st.floats(0.3, 1.2))
@settings(deadline=None, max_examples=50)
def test_quantiles_stand_in_order_and_chances_never_fall(pairs, limit):
    part = learnt(pairs)
    low, middle, high = crossings(part, limit, LEVELS, 60.0)[0]
    assert low <= middle <= high
    chances = chance_curve(part, limit, np.linspace(0, 60, 200)[None])[0]
    assert (np.diff(chances) >= 0).all()
    assert chances.min() >= 0
    assert chances.max() <= 1


@given(series.filter(bool))
@settings(deadline=None, max_examples=40)
def test_miles_and_km_meet_the_limit_at_the_same_place(pairs):
    mile = float(KM_PER_MILE)
    in_miles = Values((0.0, 0.11 * mile), (0.02, 0.045 * mile), 0.012 * np.sqrt(mile), 0.025)
    km = crossings(learnt(pairs), 0.75, LEVELS, 60.0)[0]
    miles = crossings(learnt([(u / mile, y) for u, y in pairs], in_miles), 0.75, LEVELS, 60.0 / mile)[0]
    assert miles * mile == pytest.approx(km, rel=1e-9)


@given(series)
@settings(deadline=None, max_examples=30)
def test_at_a_quantile_the_chance_is_its_level(pairs):
    part = learnt(pairs)
    at = crossings(part, 0.75, LEVELS, 60.0)[0]
    for level, u in zip(LEVELS, at, strict=True):
        if 0 < u < 60 and past_already(part, 0.75)[0] < level:
            assert chance_curve(part, 0.75, np.array([[part.last_u[0], u]]))[0, 1] == pytest.approx(level, abs=1e-4)


def test_beyond_what_is_looked_ahead_there_is_no_crossing():
    assert np.isinf(crossings(learnt([(5.0, 0.05)]), 0.75, LEVELS, 6.0)).all()


def test_a_part_left_in_service_is_taken_to_be_within_its_limit():
    part = learnt([(4.0, 0.70), (4.5, 0.745)])
    past = past_already(part, 0.75)[0]
    assert 0.2 < past < 0.8
    assert crossings(part, 0.75, LEVELS, 60.0, still_good=True)[0, 0] > 4.5
    assert crossings(part, 0.75, LEVELS, 60.0)[0, 0] < 4.5
    unconditioned = past + (1 - past) * 0.5
    assert crossings(part, 0.75, (0.5,), 60.0, still_good=True) == pytest.approx(
        crossings(part, 0.75, (unconditioned,), 60.0)
    )
