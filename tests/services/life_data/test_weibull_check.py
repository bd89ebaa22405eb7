"""The goodness of fit: silent with few failures, rarely raised by a true Weibull life, raised by another one."""

import numpy as np
import pytest

from services.life_data.lives import observed
from services.life_data.weibull import fit
from services.life_data.weibull_check import goodness_of_fit
from tests.services.life_data.published import lives_of


def _checked(rng, lives, n=200):
    """p-values of fleets whose every third part was registered late and whose ages end at random."""
    ages = lives(n)
    entry = np.where(np.arange(n) % 3 == 0, 0.3 * rng.random(n), 0.0)
    end = entry + 0.05 + 1.5 * rng.random(n)
    kept = ages > entry
    ages, entry, end = ages[kept], entry[kept], end[kept]
    return goodness_of_fit(fit(observed(np.minimum(ages, end), ages <= end, entry=entry))).p_value


def test_a_true_weibull_life_is_doubted_as_often_as_the_level_says(rng):
    p = np.array([_checked(rng, lambda n: rng.weibull(1.8, n)) for _ in range(600)])
    assert 0.02 < (p < 0.05).mean() < 0.08
    assert 0.42 < (p < 0.5).mean() < 0.58


def test_a_mixture_of_early_failures_and_wear_is_doubted(rng):
    def mixed(n):
        return np.where(rng.random(n) < 0.3, 0.05 * rng.weibull(1, n), 0.9 + 0.2 * rng.random(n))

    assert max(_checked(rng, mixed) for _ in range(20)) < 0.01


def test_observed_and_expected_are_the_same_in_all():
    check = goodness_of_fit(fit(lives_of("ball-bearings")))
    assert check.observed.sum() == 23
    assert check.expected.sum() == pytest.approx(23, rel=1e-9)
    assert (check.degrees, len(check.until)) == (4, 5)
    assert check.p_value > 0.2


def test_too_few_failures_or_looks_say_nothing():
    assert goodness_of_fit(fit(lives_of("bearing-cages"))) is None
    age = np.arange(10.0, 30)
    assert goodness_of_fit(fit(observed(age, np.ones(20), last_good=age - 3))) is None
