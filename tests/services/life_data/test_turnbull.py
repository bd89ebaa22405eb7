"""Failures found at looks: printed curves, Kaplan-Meier where ages are exact, what must hold for any lives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.life_data.lives import Lives, observed
from services.life_data.survival import at_ages, kaplan_meier
from services.life_data.turnbull import NoCurve, turnbull

# D. Finkelstein and R. Wolfe, Biometrics 41 (1985) 933-945: months to breast retraction, last visit without and first with it
# ("+": none until then). Read in the R package MLEcens (data/cosmesis.txt); radiotherapy alone, and with chemotherapy.
ALONE = """45+ 6-10 0-7 46+ 46+ 7-16 17+ 7-14 37-44 0-8 4-11 15+ 11-15 22+ 46+ 46+ 25-37 46+ 26-40 46+ 27-34 36-44 46+ 36-48 37+
40+ 17-25 46+ 11-18 38+ 5-12 37+ 0-5 18+ 24+ 36+ 5-11 19-35 17-25 24+ 32+ 33+ 19-26 37+ 34+ 36+"""
WITH = """8-12 0-22 24-31 17-27 17-23 24-30 16-24 13+ 11-13 16-20 18-25 17-26 32+ 23+ 44-48 14-17 0-5 5-8 12-20 11+ 33-40 31+
13-39 19-32 34+ 13+ 16-24 35+ 15-22 11-17 22-32 10-35 30-34 13+ 10-17 8-21 4-9 11+ 14-19 4-8 34+ 30-36 18-24 16-60 35-39 21+ 11-20
48+"""


def looks(text: str) -> Lives:
    """Lives from 'last look good-found' and 'last look good+'."""
    rows = [[*row.rstrip("+").split("-"), "nan"][:2] for row in text.split()]
    low, high = np.array(rows, dtype=float).T
    failed = ~np.isnan(high)
    return observed(np.where(failed, high, low), failed, last_good=np.where(failed, low, np.nan))


def late_and_looked(rng, n=60) -> Lives:
    """Late entries, exact ages, survivors and looks together."""
    life, end = 1000 * rng.weibull(2.0, n), rng.uniform(100, 1500, n)
    entry = np.where(rng.random(n) < 0.3, 150 * rng.random(n), 0.0)
    kept = np.minimum(life, end) > entry
    life, end, entry = life[kept], end[kept], entry[kept]
    failed, age = life <= end, np.minimum(life, end)
    look = np.maximum(np.floor(age / 100) * 100, entry)
    unseen = failed & (rng.random(len(age)) < 0.6) & (look < age)
    return observed(age, failed, entry=entry, last_good=np.where(unseen, look, np.nan))


def test_the_curve_after_radiotherapy_alone_is_the_printed_one():
    # M. Fay and P. Shaw, J. Stat. Software 36 (2010), output of icfit for the data of Finkelstein and Wolfe (from memory).
    found = turnbull(looks(ALONE))
    assert list(zip(found.left, found.right, strict=True)) == [
        (4, 5), (6, 7), (7, 8), (11, 12), (24, 25), (33, 34), (38, 40), (46, 48)
    ]  # fmt: skip
    assert found.mass.round(4).tolist() == [0.0463, 0.0334, 0.0887, 0.0708, 0.0926, 0.0818, 0.1209, 0.4656]


def test_the_curve_after_both_treatments_is_the_printed_one():
    found = turnbull(looks(WITH))  # the same source
    assert list(zip(found.left, found.right, strict=True)) == [
        (4, 5), (5, 8), (11, 12), (16, 17), (18, 19), (19, 20), (24, 25), (30, 31), (35, 36), (44, 48), (48, 60)
    ]  # fmt: skip
    printed = [0.0433, 0.0433, 0.0692, 0.1454, 0.1411, 0.1157, 0.0999, 0.0709, 0.1608, 0.0552, 0.0552]
    assert found.mass.round(4).tolist() == printed


def test_the_likeliest_curve_says_how_far_off_it_may_be():
    for text in (ALONE, WITH):
        assert 0 <= turnbull(looks(text)).off < 1e-9


@pytest.mark.parametrize("late", [False, True])
def test_with_exact_ages_it_is_kaplan_meier(late, rng):
    age, failed = np.ceil(100 * rng.weibull(1.5, 80)) / 10 + 2, rng.random(80) < 0.6
    lives = observed(age, failed, entry=np.where(rng.random(80) < 0.4, 2 * rng.random(80), 0.0) if late else 0.0)
    found, curve = turnbull(lives), kaplan_meier(lives)
    assert found.survival[np.isfinite(found.right)] == pytest.approx(curve.value, abs=1e-9)
    assert found.between(curve.age)[0] == pytest.approx(curve.value, abs=1e-9)


def test_two_looks_at_all_parts_are_plain_shares():
    # Ten parts looked at at 10 and 20: three failed before the first look, five before the second, two are good.
    lives = observed([10, 20, 20], [1, 1, 0], last_good=[0, 10, np.nan], count=[3, 5, 2])
    found = turnbull(lives)
    assert found.survival == pytest.approx([0.7, 0.2, 0.0], abs=1e-9)
    assert found.right.tolist() == [10, 20, np.inf]


def test_within_a_stretch_the_curve_may_fall_anywhere():
    found = turnbull(observed([10, 20, 20], [1, 1, 0], last_good=[0, 10, np.nan], count=[3, 5, 2]))
    least, most = found.between([0, 5, 10, 15, 20, 25])
    assert least == pytest.approx([1, 0.7, 0.7, 0.2, 0.2, 0.0], abs=1e-9)  # beyond the last look nothing is known
    assert most == pytest.approx([1, 1, 0.7, 0.7, 0.2, 0.2], abs=1e-9)


def test_life_before_registering_counts_only_for_having_been_lived():
    # Watched from 10 on: the three that failed before say nothing of those; from 10 to 20 five of seven and three of four fail.
    lives = observed(
        [10, 20, 20, 20, 20], [1, 1, 0, 1, 0], entry=[0, 0, 0, 10, 10], last_good=[0, 10, np.nan, 10, np.nan],
        count=[3, 5, 2, 3, 1],
    )  # fmt: skip
    assert turnbull(lives).survival == pytest.approx([0.7, 0.7 * 3 / 11, 0.0], abs=1e-9)


def test_a_curve_that_empties_early_says_so():
    lives = observed([2, 5, 6, 7], [1, 1, 0, 1], entry=[0, 3, 3, 3])  # as for Kaplan-Meier
    assert turnbull(lives).emptied_at == kaplan_meier(lives).emptied_at == 2
    assert turnbull(looks(ALONE)).emptied_at is None


def test_looks_close_to_each_other_are_as_good_as_ages(rng):
    age, failed = np.sort(100 * rng.random(40)) + np.arange(40), rng.random(40) < 0.7
    near = turnbull(observed(age, failed, last_good=np.where(failed, age - 1e-6, np.nan)))
    curve = kaplan_meier(observed(age, failed))
    assert near.between(age + 1e-9)[1] == pytest.approx(at_ages(curve, age, 1.0), abs=1e-8)


def test_no_share_moved_elsewhere_is_likelier(rng):
    for _ in range(20):
        found = turnbull(late_and_looked(rng))
        assert 0 <= found.off < 1e-6
        assert found.mass.sum() == pytest.approx(1, abs=1e-9)
        assert (found.left <= found.right).all()
        assert (found.right[:-1] <= found.left[1:]).all()


@pytest.mark.parametrize("scale", [1.609344, 1e-6, 1e9])
def test_another_unit_scales_the_stretches_and_leaves_the_shares(scale, rng):
    lives = late_and_looked(rng)
    last_good = np.where(lives.between, lives.lower, np.nan) * scale
    scaled = observed(lives.seen_until * scale, ~lives.survived, entry=lives.entry * scale, last_good=last_good)
    one, other = turnbull(lives), turnbull(scaled)
    assert other.right == pytest.approx(one.right * scale, rel=1e-12)
    assert other.survival == pytest.approx(one.survival, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_order_and_counts_make_no_difference(seed):
    rng = np.random.default_rng(seed)
    lives = late_and_looked(rng, 30)
    order = rng.permutation(np.repeat(np.arange(len(lives.entry)), 2))
    twice = Lives(*(column[order] for column in (lives.entry, lives.lower, lives.upper, lives.count, lives.mode)))
    one, other = turnbull(lives), turnbull(twice)
    assert other.log_likelihood == pytest.approx(2 * one.log_likelihood, rel=1e-7)
    ages = np.linspace(0, 1500, 31)
    assert other.between(ages)[1] == pytest.approx(one.between(ages)[1], abs=2e-4)


def test_without_a_failure_there_is_no_curve():
    with pytest.raises(NoCurve):
        turnbull(observed([5, 7], [0, 0]))


def test_thousands_of_looks_are_answered_in_a_few_seconds(rng):
    found = turnbull(late_and_looked(rng, 2000))
    assert found.off < 1e-6
