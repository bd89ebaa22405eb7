"""Groups compared: published p-values and priors, simulated false alarms, what must not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.life_data.counts import BadCounts
from services.life_data.groups import (
    against_rest,
    false_discoveries,
    fitted_p,
    log_rank,
    marginal_log_likelihood,
    rate_p,
    ratio_limits,
    shrunk_rates,
)

# Gaver and O'Muircheartaigh, Technometrics 29 (1987): failures of ten pumps, thousands of hours (rounded).
PUMPS = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
HOURS = [94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48]

# E. Freireich et al., Blood 21 (1963): weeks of remission, 1 came back; the first had the drug.
DRUG = [(6, 1), (6, 1), (6, 1), (6, 0), (7, 1), (9, 0), (10, 1), (10, 0), (11, 0), (13, 1), (16, 1), (17, 0), (19, 0),
        (20, 0), (22, 1), (23, 1), (25, 0), (32, 0), (32, 0), (34, 0), (35, 0)]  # fmt: skip
NONE = [(weeks, 1) for weeks in (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)]
REMISSION = np.array(DRUG + NONE, dtype=float)
TREATED = np.repeat([0, 1], 21)


def exactly(expected, rel=1e-7):
    return pytest.approx(expected, rel=rel)


# --- exact tests


def test_two_rates_exactly_and_less_cautiously():  # R poisson.test (41 in 28,010 against 15 in 19,017); statsmodels mid-p
    assert rate_p(41, 28010, 15, 19017) == exactly(0.04085202629)
    assert rate_p(41, 28010, 15, 19017, mid_p=True) == exactly(0.03475061, 1e-6)


def test_limits_of_the_ratio_of_two_rates():  # R poisson.test: 1.855758658 [1.005684063, 3.609300311]
    assert ratio_limits(41, 28010, 15, 19017) == exactly((1.005684063, 3.609300311))
    assert against_rest([41, 15], [28010, 19017]).ratio[0] == exactly(1.855758658)


def test_a_lot_with_five_of_forty_against_one_of_sixty():  # R fisher.test and scipy: 0.03633972802
    assert fitted_p(5, 40, 1, 60) == exactly(0.03633972802, 1e-8)


def test_the_tea_tasting_table():  # R fisher.test and scipy: 3 of 4 against 1 of 4
    assert fitted_p(3, 4, 1, 4) == exactly(0.4857142857, 1e-9)
    assert fitted_p(3, 4, 1, 4, mid_p=True) == exactly(0.4857142857 - 8 / 70, 1e-9)  # half of 4 x 4 / 70


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 30), st.integers(0, 30), st.floats(1.0, 1e6), st.floats(1.0, 1e6))
def test_a_comparison_reads_the_same_from_both_sides(one, other, lived, other_lived):
    forth, back = rate_p(one, lived, other, other_lived), rate_p(other, other_lived, one, lived)
    assert forth == pytest.approx(back, abs=1e-9)
    assert 0 <= forth[0] <= 1
    low, high = ratio_limits(one, lived, other, other_lived)
    assert low < high


def test_without_failures_nothing_differs():
    found = against_rest([0, 0, 0], [10.0, 20.0, 30.0])
    assert found.p.tolist() == [1.0, 1.0, 1.0]
    assert found.ratio.tolist() == [1.0, 1.0, 1.0]
    assert ratio_limits(0, 10.0, 0, 20.0) == (0.0, np.inf)


def test_a_group_that_alone_failed_has_an_infinite_ratio():
    found = against_rest([4, 0], [10.0, 20.0])
    assert found.ratio.tolist() == [np.inf, 0.0]
    assert (found.rest_failures.tolist(), found.rest_exposure.tolist()) == ([0, 4], [20.0, 10.0])


def test_each_of_many_groups_stands_against_the_others():
    found = against_rest([3, 1, 9], [100.0, 80.0, 90.0])
    assert found.p[2] == exactly(float(rate_p(9, 90.0, 4, 180.0)[0]), 1e-12)
    assert against_rest([3, 1, 9], [100.0, 80.0, 90.0], mid_p=True).p[2] < found.p[2]


# --- many comparisons


def test_the_example_of_benjamini_and_hochberg():  # their 15 p-values (1995); R p.adjust, scipy, statsmodels
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.3240,
        0.4262,
        0.5719,
        0.6528,
        0.7590,
        1.0,
    ]
    q = false_discoveries(p)
    assert q.tolist() == exactly(
        [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571429, 0.0638571429, 0.0645, 0.0765, 0.486, 0.5811818182,
         0.714875, 0.7532307692, 0.8132142857, 1.0], 1e-9)  # fmt: skip
    assert (q <= 0.05).sum() == 4
    assert false_discoveries(p[::-1]).tolist() == exactly(q[::-1].tolist(), 1e-12)


def test_under_no_difference_at_most_five_reviews_in_a_hundred_name_a_batch():
    """30 part types in 4 batches of uneven size, 0 to some 40 failures each: 1,000 reviews, seeded; mid-p beside it."""
    random = np.random.default_rng(11)
    exposure = random.gamma(2.0, 1.0, (30, 4)) * random.uniform(0.2, 5.0, (30, 1))
    alarms, unadjusted = 0, 0
    for _ in range(1000):
        failures = random.poisson(exposure)
        rest, rest_lived = failures.sum(1, keepdims=True) - failures, exposure.sum(1, keepdims=True) - exposure
        p = rate_p(failures.ravel(), exposure.ravel(), rest.ravel(), rest_lived.ravel())
        alarms += (false_discoveries(p) <= 0.05).any()
        unadjusted += (p <= 0.05).any()
    assert alarms <= 50
    assert unadjusted > 800  # what happens without looking at all of them together


def test_a_batch_six_times_as_bad_is_found_among_them():
    random = np.random.default_rng(12)
    found = 0
    for _ in range(200):
        failures = random.poisson(np.array([18.0, *[3.0] * 119]))
        rest = np.add.reduceat(failures, range(0, 120, 4)).repeat(4) - failures
        found += false_discoveries(rate_p(failures, np.ones(120), rest, np.full(120, 3.0)))[0] <= 0.05
    assert found >= 160


# --- shrunk rates


def test_the_pumps():  # Gaver and O'Muircheartaigh (1987) data; scipy and R optim
    told = shrunk_rates(PUMPS, HOURS)
    assert (told.shape, told.exposure) == (exactly(0.82226865, 1e-5), exactly(1.25895449, 1e-5))
    assert marginal_log_likelihood(PUMPS, HOURS, told.shape, told.exposure) == exactly(-32.26306704, 1e-9)
    assert told.rate.tolist() == exactly(
        [0.0609158, 0.1073251, 0.0907759, 0.1166934, 0.5881359, 0.606205, 0.7899023, 0.7899023, 1.4373574, 1.9441483],
        1e-5,
    )


def test_one_failure_in_three_parts_is_not_the_worst():
    told = shrunk_rates([1, 8, 2, 3, 1], [3.0, 60.0, 70.0, 80.0, 75.0])
    assert told.rate.argmax() == 1
    assert told.low.argmax() == 1


def test_groups_without_spread_get_the_common_rate():
    told = shrunk_rates([2, 3, 4], [200.0, 300.0, 400.0])
    assert told.rate.tolist() == exactly([0.01, 0.01, 0.01])
    assert told.shape == exactly(9.5)
    assert (told.low < 0.01).all()
    assert (told.high > 0.01).all()


def test_no_failure_at_all_still_has_a_range():
    told = shrunk_rates([0, 0], [30.0, 60.0])
    assert (told.rate > 0).all()
    assert (told.high > told.rate).all()


def test_a_single_group_leans_on_nobody():
    told = shrunk_rates([2], [200.0])
    assert (told.shape, told.exposure, told.rate[0]) == (0.5, 0.0, 2.5 / 200)


def test_groups_far_apart_keep_their_own_rates():
    told = shrunk_rates([900, 1], [1.0, 1000.0])
    assert told.rate[0] == exactly(900.0, 0.01)
    assert told.rate[1] < 0.01


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 20), st.floats(1.0, 100.0)), min_size=2, max_size=8), st.floats(0.01, 100.0))
def test_the_unit_of_exposure_scales_the_rates(groups, factor):
    failures, exposure = zip(*groups, strict=True)
    one, other = shrunk_rates(failures, exposure), shrunk_rates(failures, np.array(exposure) * factor)
    assert (other.rate * factor).tolist() == exactly(one.rate.tolist(), 1e-4)


def test_credible_ranges_hold_the_true_rates():
    """40 groups with gamma rates (shape 2), exposures of a small fleet; 60 fleets, seeded."""
    random, held = np.random.default_rng(13), []
    for _ in range(60):
        rate, exposure = random.gamma(2.0, 0.5, 40), random.uniform(0.5, 8.0, 40)
        told = shrunk_rates(random.poisson(rate * exposure), exposure, confidence=0.9)
        held.append(((told.low <= rate) & (rate <= told.high)).mean())
    assert 0.87 <= np.mean(held) <= 0.93


# --- lives


def test_remissions_with_and_without_the_drug():  # R survdiff on Freireich et al. (1963): 16.79; expected 19.3 and 10.7
    told = log_rank(REMISSION[:, 0], REMISSION[:, 1], TREATED)
    assert told.chi_square == pytest.approx(16.79, abs=0.005)
    assert told.expected.tolist() == pytest.approx([19.3, 10.7], abs=0.06)
    assert told.failures.tolist() == [9.0, 21.0]
    assert told.z[1] ** 2 == exactly(told.chi_square)
    assert told.z[1] > 0
    assert told.p[0] == exactly(told.chi_square_p)


def test_lives_from_mid_life_count_from_there():
    early = log_rank([5.0, 6.0, 7.0, 8.0], [1, 1, 1, 1], [0, 1, 0, 1], [0.0, 5.0, 0.0, 5.0])
    assert early.expected.tolist() == exactly([1 + 1 / 3 + 1 / 2, 2 / 3 + 1 / 2 + 1])


def test_a_third_group_without_failures_counts_too():
    told = log_rank([2.0, 3.0, 4.0, 9.0, 9.0], [1, 1, 1, 0, 0], [0, 0, 1, 2, 2])
    assert told.failures.tolist() == [2.0, 1.0, 0.0]
    assert told.z[2] < 0 < told.z[0]
    assert 0 < told.chi_square_p < 1


def test_lives_without_failures_tell_nothing():
    told = log_rank([2.0, 3.0], [0, 0], [0, 1])
    assert (told.z.tolist(), told.p.tolist(), told.chi_square_p) == ([0.0, 0.0], [1.0, 1.0], 1.0)


def test_log_rank_raises_at_most_its_share_of_false_alarms():
    random, alarms = np.random.default_rng(14), 0
    for _ in range(1000):
        life, until = 1000.0 * random.weibull(2.0, 120), random.uniform(0.0, 1500.0, 120)
        alarms += log_rank(np.minimum(life, until), life <= until, np.arange(120) % 3).chi_square_p <= 0.05
    assert 30 <= alarms <= 70


@pytest.mark.parametrize(
    "told",
    [
        lambda: rate_p(-1, 5.0, 1, 5.0),
        lambda: rate_p(1.5, 5.0, 1, 5.0),
        lambda: rate_p(1, 0.0, 1, 5.0),
        lambda: rate_p(1, float("inf"), 1, 5.0),
        lambda: rate_p([1, 2], [5.0], 1, 5.0),
        lambda: rate_p([], [], [], []),
        lambda: fitted_p(6, 5, 1, 5),
        lambda: fitted_p(1, 5, 6, 5),
        lambda: against_rest([1], [5.0]),
        lambda: false_discoveries([]),
        lambda: false_discoveries([1.2]),
        lambda: log_rank([1.0], [1], [0]),
        lambda: log_rank([1.0, 2.0], [1, 1], [0, 1], [1.0, 0.0]),
        lambda: log_rank([1.0, 2.0], [1], [0, 1]),
    ],
)
def test_counts_that_cannot_be_are_refused(told):
    with pytest.raises(BadCounts):
        told()
