"""How far failures carry what is said: none, a handful, several, many."""

import numpy as np
import pytest
from scipy.stats import expon, norm, weibull_min

from services.review.lifelook import counts_of, life_of, rate_of, survival_of, wear_out_p
from services.review.observed import halved
from tests.services.review.parts import part_of


def looked_at(part):
    counts = counts_of(part, np.ones(len(part.component), dtype=bool))
    return counts, life_of(part.lives(), counts, "km")


def fleet(failures: int, n: int = 60, shape: float = 3.0, seed: int = 4):
    """n pieces of which the `failures` shortest-lived have failed, the others run on to where those stopped."""
    life = np.sort(1000 * np.random.default_rng(seed).weibull(shape, n))
    return part_of(end=np.minimum(life, life[failures] if failures < n else np.inf), failed=np.arange(n) < failures)


@pytest.mark.parametrize(
    ("failures", "rung", "pattern_told", "life_told"),
    [(0, "none", False, False), (1, "some", False, False), (4, "some", False, False), (5, "several", True, False),
     (9, "several", True, False), (10, "many", True, True), (40, "many", True, True)],
)  # fmt: skip
def test_each_rung_shows_what_it_carries_and_no_more(failures, rung, pattern_told, life_told):
    part = fleet(failures)
    _, (found, _) = looked_at(part)
    assert (found.rung, found.shape is not None, found.b10 is not None) == (rung, life_told, life_told)
    assert (found.pattern != "too-few") == pattern_told
    assert bool(survival_of(part.lives()).age) == pattern_told


def test_without_a_failure_there_is_a_bound_and_no_low_limit():
    counts, _ = looked_at(fleet(0, n=10))
    rate = rate_of(counts, "km")
    # The rule of three: -ln(0.05) / exposure (NIST e-Handbook 8.4.5.1, zero failures).
    assert (rate.rate, rate.low) == (0.0, None)
    assert rate.high == pytest.approx(-np.log(0.05) / counts.exposure)
    assert rate.sentence.startswith("No failure in 10 parts")


def test_wear_out_is_said_with_its_life_and_limits():
    _, (found, _) = looked_at(fleet(40))
    assert found.pattern == "wear-out"
    assert found.shape_low < found.shape < found.shape_high
    assert found.b10_low < found.b10 < found.b10_high < found.b50_high
    assert found.wear_out_p < 1e-6


def test_the_chance_of_wear_is_the_signed_root_of_the_likelihood_ratio():
    # Complete lives, so that scipy.stats fits the same two models; Wilks 1938 for the ratio.
    ages = 1000 * np.random.default_rng(8).weibull(1.4, 30)
    part = part_of(end=ages, failed=[True] * 30)
    shape, _, scale = weibull_min.fit(ages, floc=0)
    ratio = 2 * (weibull_min.logpdf(ages, shape, 0, scale).sum() - expon.logpdf(ages, 0, ages.mean()).sum())
    _, (_, fitted) = looked_at(part)
    assert wear_out_p(fitted) == pytest.approx(norm.sf(np.sqrt(ratio) - 30**-0.5), rel=0.01)


def test_without_any_effect_of_age_the_chance_of_wear_is_even():
    rng = np.random.default_rng(2)
    found = [looked_at(part_of(end=rng.exponential(1000, 40), failed=[True] * 40))[1][0].wear_out_p for _ in range(200)]
    assert 0.02 < np.mean(np.array(found) < 0.05) < 0.10  # 200 fleets: twice the binomial error about 0.05 is 0.03
    assert 0.40 < np.mean(np.array(found) < 0.5) < 0.60


def test_looks_are_halved_for_the_curve_and_said():
    part = part_of(
        end=[100.0 * k for k in range(1, 13)], failed=[True] * 6 + [False] * 6,
        last_good=[np.nan, 150.0, 200.0, np.nan, np.nan, np.nan] + [np.nan] * 6,
    )  # fmt: skip
    curve = survival_of(part.lives())
    assert curve.halved == 2
    assert curve.age == pytest.approx([100.0, 175.0, 250.0, 400.0, 500.0, 600.0])
    assert curve.points == []
    assert curve.stretches[-1][2] <= curve.stretches[0][2]
    assert not halved(part.lives()).between.any()


def test_a_way_of_failing_takes_the_others_for_survivals():
    part = part_of(end=[100.0, 200.0, 300.0], failed=[True, True, False], mode=["leakage", "noise", ""])
    lives = part.lives(mode="leakage")
    assert (lives.failures, lives.parts) == (1, 3)


def test_the_rug_and_the_curve_are_thinned_to_what_a_chart_can_show():
    part = part_of(end=np.arange(1.0, 1201.0), failed=np.arange(1200) % 2 == 0)
    curve = survival_of(part.lives())
    assert len(curve.age) == len(curve.rug) == 200
    assert (curve.rug[0], curve.rug[-1]) == (2.0, 1200.0)


def test_accidents_and_unknown_lives_are_counted_apart():
    part = part_of(end=[100.0] * 3, failed=[True, False, False], known=[True, True, False], accidents=[0, 1, 0])
    counts, _ = looked_at(part)
    assert (counts.parts, counts.failed, counts.unknown_life, counts.accidents) == (3, 1, 1, 1)
