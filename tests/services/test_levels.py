"""Levels recalibrated by the fleet's own past."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.levels import GRID, IDENTITY, fit_levels, model_level, ordered_levels, shown_level


def past(seed: int, count: int, power: float = 1.0):
    rng = np.random.default_rng(seed)
    return rng.random(count) ** power, rng.integers(0, 8, count), rng.lognormal(-1.5, 1.2, count)


FITTED = fit_levels(*past(1, 20_000, 2.0))


def test_the_finite_sample_quantile_is_the_one_of_split_conformal_prediction():
    # By hand: n = 200, p = .10: the ceil(201 x .10) = 21st smallest; p = .90: ceil(180.9) = 181st; p = .99: ceil(198.99) = 199th.
    row = ordered_levels(np.arange(1, 201)[::-1] / 201, GRID)
    assert [row[9], row[89], row[98]] == pytest.approx([21 / 201, 181 / 201, 199 / 201])


def test_a_calibrated_past_leaves_the_levels_alone():
    assert ordered_levels(np.arange(1, 1000) / 1000, ()) == pytest.approx(GRID)


def test_below_two_hundred_stretches_nothing_is_recalibrated():
    assert fit_levels(*past(2, 199, 3.0)) == IDENTITY


def test_a_thin_class_takes_the_levels_of_its_kind_and_then_of_all():
    levels, _stretches, _exposure = past(3, 600, 2.0)
    stretches = np.where(np.arange(600) < 300, 5, 1)
    fitted = fit_levels(levels, stretches, np.full(600, 0.2))
    everything = ordered_levels(levels, GRID)
    much_known = ordered_levels(levels[:300], GRID)
    assert fitted[0] == everything
    assert fitted[8] == much_known
    assert fitted[9] == much_known


def test_a_share_of_the_past_lies_below_its_level():
    u, stretches, exposure = past(1, 20_000, 2.0)
    below = u <= model_level(FITTED, 0.3, stretches, exposure)
    assert below.mean() == pytest.approx(0.3, abs=0.01)


@given(st.floats(0.001, 0.999), st.integers(0, 9), st.floats(1e-4, 20))
@settings(deadline=None)
def test_shown_level_undoes_model_level(level, stretches, exposure):
    asked = model_level(FITTED, level, stretches, exposure)
    assert shown_level(FITTED, asked, stretches, exposure) == pytest.approx(level, abs=1e-6)


@given(st.floats(0, 1), st.floats(0, 1), st.integers(0, 9), st.floats(1e-4, 20))
@settings(deadline=None)
def test_a_higher_level_is_never_answered_by_a_lower_one(one, other, stretches, exposure):
    low, high = sorted([one, other])
    assert model_level(FITTED, low, stretches, exposure) <= model_level(FITTED, high, stretches, exposure)


def test_nought_and_one_stand_for_themselves():
    assert model_level(FITTED, 0.0, 1, 0.3) == 0.0
    assert model_level(FITTED, 1.0, 1, 0.3) == pytest.approx(1.0)
    assert shown_level(FITTED, 1.0, 1, 0.3) == pytest.approx(1.0)
    assert shown_level(FITTED, 0.0, 1, 0.3) == 0.0


def test_no_level_jumps_between_two_lengths():
    lengths = np.exp(np.linspace(np.log(0.01), np.log(5.0), 2000))
    assert np.abs(np.diff(model_level(FITTED, 0.1, 4, lengths))).max() < 0.002
