"""The Weibull fit against printed and agreed values, what must hold for any lives, and when there is no fit."""

import numpy as np
import pytest
from scipy.special import gamma

from services.life_data.lives import observed
from services.life_data.warning import expected_failures
from services.life_data.weibull import NoFiniteFit, b_life, fit, still_good
from services.life_data.weibull_likelihood import slopes
from tests.services.life_data.published import PUBLISHED, lives_of, named


def _values(fitted) -> dict:
    mean, square = (fitted.life**power * gamma(1 + power / fitted.shape) for power in (1, 2))
    return {
        "shape": fitted.shape,
        "life": fitted.life,
        "log_likelihood": fitted.log_likelihood,
        "b10": float(b_life(fitted, 0.10)),
        "mean": mean,
        "sd": np.sqrt(square - mean**2),
    }


@pytest.mark.parametrize("row", PUBLISHED["weibull"], ids=named)
def test_fits_are_those_others_print(row):
    found = _values(fit(lives_of(row["lives"], row.get("mode"))))
    for key, expected in row["expect"].items():
        assert found[key] == pytest.approx(expected, rel=row["rel"]), key


def test_the_modes_log_likelihoods_add_up():
    # Competing modes that do not know of each other: Meeker & Escobar 1998, ch. 15.4.
    one, two = (fit(lives_of("shock-absorbers", mode)) for mode in (1, 2))
    assert one.log_likelihood + two.log_likelihood == pytest.approx(-131.1341214, rel=1e-9)


def test_failures_ahead_of_the_survivors():
    # Meeker & Escobar 1998, ch. 12.7 print 5.057 (from memory); direct solution 5.058209.
    lives = lives_of("bearing-cages")
    good = lives.survived
    fitted = fit(lives)
    ahead = expected_failures(fitted.shape, fitted.life, lives.lower[good], 300, lives.count[good])
    assert ahead == pytest.approx(5.058209, abs=1e-5)
    assert ahead == pytest.approx(5.057, abs=2e-3)


def test_b_lives_and_shares_undo_each_other():
    fitted = fit(lives_of("ball-bearings"))
    assert still_good(fitted, b_life(fitted, [0.1, 0.5])) == pytest.approx([0.9, 0.5], abs=1e-14)


def _late_and_looked(rng, n=60):
    life = 1000 * rng.weibull(2.0, n)
    entry = np.where(rng.random(n) < 0.5, 200.0 * rng.random(n), 0.0)
    entry = np.where(entry < life, entry, 0.0)
    end = entry + 50 + 900 * rng.random(n)
    failed = life <= end
    age = np.where(failed, life, end)
    look = np.floor(age / 100) * 100
    unseen = failed & (rng.random(n) < 0.5) & (look >= entry) & (look < age)
    return observed(age, failed, entry=entry, last_good=np.where(unseen, look, np.nan))


def test_the_slopes_are_those_of_the_likelihood(rng):
    terms = fit(_late_and_looked(rng)).terms
    u, a, step = np.log(900), np.log(1.7), 1e-5
    here = slopes(terms, u, a)
    right, left = slopes(terms, u + step, a), slopes(terms, u - step, a)
    up, down = slopes(terms, u, a + step), slopes(terms, u, a - step)
    assert here.by_u == pytest.approx((right.value - left.value) / (2 * step), rel=1e-6)
    assert here.by_a == pytest.approx((up.value - down.value) / (2 * step), rel=1e-6)
    assert here.by_uu == pytest.approx((right.by_u - left.by_u) / (2 * step), rel=1e-6)
    assert here.by_ua == pytest.approx((up.by_u - down.by_u) / (2 * step), rel=1e-6)
    assert here.by_aa == pytest.approx((up.by_a - down.by_a) / (2 * step), rel=1e-6)


def test_looks_and_late_entries_are_fitted_to_a_slope_of_nothing(rng):
    for _ in range(20):
        fitted = fit(_late_and_looked(rng))
        at = slopes(fitted.terms, fitted.log_life, fitted.log_shape)
        assert [at.by_u, at.by_a] == pytest.approx([0, 0], abs=1e-6)
        assert np.linalg.eigvalsh(fitted.covariance).min() > 0


def test_looks_close_to_each_other_are_as_good_as_ages():
    lives = lives_of("ball-bearings")
    looked = observed(lives.lower + 1e-5, np.ones(23), last_good=lives.lower - 1e-5)
    exact, between = fit(lives), fit(looked)
    assert [between.shape, between.life] == pytest.approx([exact.shape, exact.life], rel=1e-6)


def test_parts_never_looked_at_before_failed_since_new():
    # Current status: failed before 10 for 3 of 10, before 20 for 8 of 10: two shares fix both numbers exactly.
    age, failed = np.repeat([10.0, 20.0], 10), np.r_[np.arange(10) < 3, np.arange(10) < 8]
    fitted = fit(observed(age, failed, last_good=0.0))
    shape = np.log(np.log(0.2) / np.log(0.7)) / np.log(2)
    assert fitted.shape == pytest.approx(shape, rel=1e-9)
    assert fitted.life == pytest.approx(10 * (-np.log(0.7)) ** (-1 / shape), rel=1e-9)


@pytest.mark.parametrize("scale", [1.609344, 1e-6, 1e9])
def test_another_unit_scales_the_life_and_leaves_the_shape(scale, rng):
    lives = _late_and_looked(rng)
    last_good = np.where(lives.between, lives.lower, np.nan) * scale
    again = observed(lives.seen_until * scale, ~lives.survived, entry=lives.entry * scale, last_good=last_good)
    one, other = fit(lives), fit(again)
    assert other.shape == pytest.approx(one.shape, rel=1e-8)
    assert other.life == pytest.approx(one.life * scale, rel=1e-8)
    assert other.covariance == pytest.approx(one.covariance, rel=1e-6)


def test_order_counts_and_entries_of_nothing_make_no_difference(rng):
    lives = lives_of("bearing-cages")
    one = fit(lives)
    each = np.repeat(np.arange(len(lives.count)), lives.count.astype(int))
    order = rng.permutation(each)
    other = fit(observed(lives.lower[order], ~lives.survived[order], entry=np.zeros(len(order))))
    assert [other.shape, other.life] == pytest.approx([one.shape, one.life], rel=1e-9)


@pytest.mark.parametrize(
    ("age", "failed"),
    [([100, 200, 300], [0, 0, 0]), ([100, 200, 300], [0, 0, 1]), ([100, 300, 300], [0, 1, 1]), ([5], [1])],
    ids=["none failed", "only the oldest", "all tied at the oldest", "one part"],
)
def test_there_is_no_fit_where_nobody_outlived_a_failure(age, failed):
    with pytest.raises(NoFiniteFit):
        fit(observed(age, failed))


def test_there_is_no_fit_when_looks_allow_any_steepness():
    with pytest.raises(NoFiniteFit):
        fit(observed([10, 10, 20], [0, 0, 1], last_good=[np.nan, np.nan, 9]))


def test_there_is_no_fit_when_all_failed_unseen_since_new():
    with pytest.raises(NoFiniteFit):
        fit(observed([5, 7, 9], [1, 1, 1], last_good=0))


def test_coarse_looks_are_fitted_wherever_they_can_be(rng):
    fits = 0
    for _ in range(150):
        n, grid = int(rng.integers(3, 40)), float(rng.choice([50, 200, 500, 2000]))
        look = np.ceil(1000 * rng.weibull(rng.uniform(0.4, 6), n) / grid) * grid
        good = rng.random(n) < 0.5
        lives = observed(np.where(good, look - grid + 1, look), ~good, last_good=look - grid)
        try:
            fitted = fit(lives)
        except NoFiniteFit:
            continue
        at = slopes(fitted.terms, fitted.log_life, fitted.log_shape)
        assert [at.by_u, at.by_a] == pytest.approx([0, 0], abs=1e-6)
        fits += 1
    assert fits > 100


def test_one_failure_that_others_outlived_has_a_fit():
    assert fit(observed([100, 200, 300], [1, 0, 0])).failures == 1


def test_a_failure_right_after_new_has_a_fit():
    assert 0 < fit(observed([1e-9, 5, 7, 9], [1, 1, 0, 1])).shape < 1


def test_there_is_no_fit_when_failures_fall_off_faster_than_any_weibull_allows():
    # All registered at 1, a third failed at once, the rest reached a thousand: the flatter the likelier.
    with pytest.raises(NoFiniteFit):
        fit(observed([1.1, 1.2, 1.3, 1000], [1, 1, 1, 0], entry=1, count=[1, 1, 1, 6]))
