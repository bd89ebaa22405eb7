"""Fleet values: the likelihood against scipy.stats, truth found again, small fleets held near what is shipped."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from services.wear_fit import capped, fit_fleet, minus_log_likelihood
from services.wear_model import SHAPES, Point, Values, series_of

STRAIGHT = SHAPES["straight"]
CHAIN = Values((0.0, 0.11), (0.02, 0.045), 0.012, 0.025)
TRUE = Values((0.02, 0.20), (0.01, 0.06), 0.02, 0.03)


def drawn(parts, seed, values=TRUE):
    """Parts exactly as the model has them, five readings each."""
    random = np.random.default_rng(seed)
    rows = []
    for _ in range(parts):
        start, rate = (m + s * random.standard_normal() for m, s in zip(values.mean, values.spread, strict=True))
        u = np.cumsum(random.uniform(0.5, 2.0, 5))
        wander = np.cumsum(values.wander * np.sqrt(np.diff(u, prepend=0)) * random.standard_normal(5))
        y = start + rate * u + wander + values.gauge * random.standard_normal(5)
        rows.append([Point(at, worn, worn) for at, worn in zip(u, y, strict=True)])
    return rows


def test_the_likelihood_is_that_of_a_multivariate_normal():  # scipy.stats
    u, y = np.array([1.0, 2.5, 4.0]), np.array([0.1, 0.3, 0.42])
    covariance = 0.02**2 + 0.045**2 * np.outer(u, u) + 0.012**2 * np.minimum.outer(u, u) + 0.025**2 * np.eye(3)
    theirs = -multivariate_normal(0.11 * u, covariance).logpdf(y)
    series = series_of([[Point(a, b, b) for a, b in zip(u, y, strict=True)], []])
    assert minus_log_likelihood(STRAIGHT, CHAIN, series, series.used) == pytest.approx(theirs)


def test_a_great_misfit_grows_by_its_logarithm_only():
    assert capped(np.array([11.0, 14.0]), np.array([2, 2])).tolist() == [11.0, 14.0]  # up to 3 x 2 + 8
    assert capped(np.array([14.0 * np.e]), np.array([2]))[0] == pytest.approx(28.0)


def test_a_large_fleet_is_found_again_from_far_off():
    found = fit_fleet(STRAIGHT, series_of(drawn(300, 5)), CHAIN)
    assert found.mean[1] == pytest.approx(0.20, abs=0.012)
    assert found.spread[1] == pytest.approx(0.06, abs=0.012)
    assert found.gauge == pytest.approx(0.03, abs=0.005)
    assert (found.parts, found.source) == (300, "fitted to 300 parts")


def test_a_few_parts_move_the_shipped_values_a_little_and_many_move_them_far():
    means = [fit_fleet(STRAIGHT, series_of(drawn(parts, 5)), CHAIN).mean[1] for parts in (2, 10, 100)]
    assert 0.11 < means[0] < means[1] < means[2] < 0.22


def test_a_few_bad_readings_do_not_widen_the_fleet():
    rows = drawn(100, 6)
    spoilt = [[*row[:2], Point(row[2].u, row[2].low + 1.0, row[2].high + 1.0), *row[3:]] if i % 20 == 0 else row
              for i, row in enumerate(rows)]  # fmt: skip
    clean, with_bad = (fit_fleet(STRAIGHT, series_of(some), TRUE) for some in (rows, spoilt))
    assert with_bad.gauge == pytest.approx(clean.gauge, rel=0.1)
    assert with_bad.spread[1] == pytest.approx(clean.spread[1], rel=0.2)


def test_gauge_readings_take_part_unless_they_are_open():
    rows = drawn(60, 7)
    gauged = [
        [*row, Point(row[-1].u + 1, row[-1].low, row[-1].low + 0.4), Point(row[-1].u + 1, 0.1, np.inf)] for row in rows
    ]
    found = fit_fleet(STRAIGHT, series_of(gauged), CHAIN)
    assert found.mean[1] == pytest.approx(0.20, abs=0.03)


def test_without_readings_the_shipped_values_stay():
    assert fit_fleet(STRAIGHT, series_of([[], [Point(1.0, -np.inf, 0.5)]]), CHAIN) is CHAIN
