"""Exact limits for none or a few failures, against printed and agreed values."""

import numpy as np
import pytest

from services.life_data.few_failures import (
    rate_limits,
    rate_upper,
    reliability_shown,
    share_limits,
    share_upper,
    success_run,
    weibayes,
    weibayes_range,
)
from services.life_data.lives import observed
from tests.services.life_data.published import lives_of


def test_limits_of_the_mean_time_between_failures():
    # NIST/SEMATECH e-Handbook 8.4.5.1 with its R file: 800 h, 2 failures, 90 %: 127.0690 and 2251.229.
    low, high = rate_limits(2, 800)
    assert [1 / high, 1 / low] == pytest.approx([127.0689683, 2251.228611], rel=1e-7)


def test_no_failure_in_800_hours():
    # NIST/SEMATECH e-Handbook 8.4.5.1: T / -ln(alpha).
    assert 1 / rate_upper(0, 800) == pytest.approx(267.0465606, rel=1e-9)
    assert 1 / rate_upper(0, 800, confidence=0.9) == pytest.approx(347.4355856, rel=1e-9)


def test_the_exponential_life_of_generator_fans():
    # Nelson 1982; chi-square limits for a test that ends by time, 95 %.
    lives = lives_of("generator-fans")
    low, high = rate_limits(lives.failures, lives.exposure, confidence=0.95)
    assert lives.exposure / lives.failures == pytest.approx(28703.33333, rel=1e-9)
    assert [1 / high, 1 / low] == pytest.approx([16431.96348, 55549.68595], rel=1e-7)


def test_rates_of_many_groups_at_once():
    low, high = rate_limits([0, 2], [100, 800])
    assert low[0] == 0
    assert [low[1], high[1]] == pytest.approx([1 / 2251.228611, 1 / 127.0689683], rel=1e-7)


def test_the_upper_limit_of_a_share():
    # Clopper & Pearson; R binom.test and scipy: 0 of 20 and 2 of 20, one-sided 95 %.
    assert share_upper([0, 2], 20) == pytest.approx([0.1391083407, 0.2826185249], rel=1e-8)


def test_two_sided_limits_of_a_share_mirror_each_other():
    low, high = share_limits([0, 3, 20], 20)
    assert (low[0], high[2]) == (0, 1)
    assert low[1] == pytest.approx(1 - share_limits(17, 20).high, abs=1e-15)
    assert high[0] == pytest.approx(share_upper(0, 20), rel=1e-12)


def test_how_many_must_survive_to_show_a_reliability():
    # ln(1 - C) / ln R; surpyval success_run. Rounded up: 22, 59, 29, 45.
    asked = [(0.90, 0.90), (0.95, 0.95), (0.95, 0.90), (0.90, 0.95)]
    found = [float(success_run(reliability, confidence=confidence)) for confidence, reliability in asked]
    assert found == pytest.approx([21.85434533, 58.40397481, 28.43315881, 44.89056748], rel=1e-9)
    assert np.ceil(found).tolist() == [22, 59, 29, 45]


def test_what_survivors_show_undoes_how_many_must_survive():
    assert reliability_shown(success_run(0.9)) == pytest.approx(0.9, rel=1e-12)


def test_ten_parts_without_failure_and_a_borrowed_shape():
    # surpyval weibayes and a direct solution: 10 units, 2000 h each, shape 3.
    lives = observed([2000], [False], count=10)
    found = weibayes(lives, 3)
    assert found.low == pytest.approx(2989.021206, rel=1e-8)
    assert found.life == pytest.approx(4308.869380, rel=1e-8)
    assert found.b_life_low(0.10) == pytest.approx(1411.740776, rel=1e-8)
    assert weibayes(lives, 3, confidence=0.9).low == pytest.approx(3263.057795, rel=1e-8)


def test_six_cage_failures_and_a_borrowed_shape():
    # AFWAL-TR-83-2079 data; surpyval weibayes and a direct solution, shape 2.
    found = weibayes(lives_of("bearing-cages"), 2)
    assert found.failures == 6
    assert [found.life, found.low] == pytest.approx([12320.33662, 8769.572354], rel=1e-8)
    assert found.b_life_low() == pytest.approx(2846.540448, rel=1e-8)


def test_life_before_registering_was_not_watched():
    late = weibayes(observed([2000], [False], entry=[1000], count=10), 3)
    assert late.low == pytest.approx(2989.021206 * (7 / 8) ** (1 / 3), rel=1e-8)


def test_a_failure_between_two_looks_counts_from_the_first_of_them():
    looked = weibayes(observed([100, 200], [1, 0], last_good=[60, np.nan]), 2)
    assert looked.low == pytest.approx(weibayes(observed([60, 200], [1, 0]), 2).low, rel=1e-12)


def test_a_borrowed_shape_is_shown_lower_and_higher_too():
    # Watched to 2,050 h: B0.1 lies within, where the steeper shape promises more; B10 beyond, where the flatter one does.
    low, middle, high = weibayes_range(lives_of("bearing-cages"), 2)
    assert [low.shape, middle.shape, high.shape] == pytest.approx([1.4, 2, 2.8])
    assert low.b_life_low(0.001) < middle.b_life_low(0.001) < high.b_life_low(0.001) < 2050
    assert low.b_life_low() > middle.b_life_low() > high.b_life_low()


def test_another_unit_scales_a_borrowed_life():
    one = weibayes(observed([2, 3], [1, 0]), 2.5)
    other = weibayes(observed([2e9, 3e9], [1, 0]), 2.5)
    assert [other.life, other.low] == pytest.approx([one.life * 1e9, one.low * 1e9], rel=1e-12)
