"""Limits of the fit against printed and agreed values, and what must hold for any lives."""

import numpy as np
import pytest
from scipy.special import ndtri

from services.life_data.lives import observed
from services.life_data.weibull import fit
from services.life_data.weibull_likelihood import slopes
from services.life_data.weibull_limits import estimate_of, fisher_limits, likelihood_limits
from tests.services.life_data.published import PUBLISHED, lives_of, named

QUANTITIES = {"shape": "shape", "life": "life", "b10": 0.10}


def _natural(fitted, quantity, confidence):
    """Wald on the natural scale, which some papers print."""
    value = estimate_of(fitted, quantity)
    error = value * np.sqrt(np.diag(fitted.covariance)[["life", "shape"].index(quantity)])
    return value + error * ndtri((1 + confidence) / 2) * np.array([-1, 1])


@pytest.mark.parametrize("row", PUBLISHED["limits"], ids=named)
def test_limits_are_those_others_print(row):
    kind = {"fisher": fisher_limits, "likelihood": likelihood_limits}.get(row["kind"])
    fitted = fit(lives_of(row["lives"]))
    for key, expected in row["expect"].items():
        of = QUANTITIES[key]
        found = kind(fitted, of, confidence=0.95) if kind else _natural(fitted, of, 0.95)
        assert list(found) == pytest.approx(expected, rel=row["rel"]), key


def test_at_the_limits_of_the_shape_the_best_curve_has_lost_half_of_chi_square():
    fitted = fit(lives_of("generator-fans"))
    for shape in likelihood_limits(fitted, "shape", confidence=0.95):
        highest = max(slopes(fitted.terms, u, np.log(shape)).value for u in np.linspace(9.5, 12.5, 3001))
        assert 2 * (fitted.log_likelihood - highest) == pytest.approx(3.841459, abs=1e-4)


def test_both_kinds_agree_with_many_failures(rng):
    fitted = fit(observed(100 * rng.weibull(2, 5000), np.ones(5000)))
    for of in ("shape", "life", 0.1, 0.5):
        assert list(likelihood_limits(fitted, of)) == pytest.approx(list(fisher_limits(fitted, of)), rel=2e-3)


def test_limits_hold_the_estimate_between_them_for_any_lives(rng):
    for _ in range(50):
        n = int(rng.integers(3, 30))
        age, failed = 10 * rng.weibull(rng.uniform(0.5, 4), n), rng.random(n) < 0.5
        failed[np.argmin(age)] = True
        failed[np.argmax(age)] = False
        fitted = fit(observed(age, failed))
        for of in ("shape", "life", 0.1):
            low, high = likelihood_limits(fitted, of)
            assert 0 <= low < estimate_of(fitted, of) < high


def test_one_early_failure_of_many_sets_no_limit_to_half_of_them():
    fitted = fit(observed([1e-6, 1], [1, 0], count=[1, 1000]))
    low, high = likelihood_limits(fitted, 0.5, confidence=0.95)
    assert (low, high) == (0, np.inf)


def test_limits_with_looks_and_late_entries():
    lives = observed(
        [30, 42, 55, 61, 70, 90, 95, 100],
        [1, 1, 1, 0, 1, 0, 1, 0],
        entry=[0, 10, 0, 20, 0, 30, 0, 0],
        last_good=[20, np.nan, 45, np.nan, 60, np.nan, np.nan, np.nan],
    )
    fitted = fit(lives)
    low, high = likelihood_limits(fitted, "life")
    shapes = np.linspace(-1, 2.5, 1001)
    for at in (low, high):
        highest = max(slopes(fitted.terms, np.log(at), a).value for a in shapes)
        assert 2 * (fitted.log_likelihood - highest) == pytest.approx(2.705543, abs=1e-4)
