"""Ranks and the line on the Weibull plot against printed values."""

import numpy as np
import pytest

from services.life_data.lives import UnusableLives, observed
from services.life_data.weibull import NoFiniteFit
from services.life_data.weibull_plot import adjusted_ranks, median_ranks, plotted, rank_regression
from tests.services.life_data.published import PUBLISHED, lives_of, named


@pytest.mark.parametrize("row", PUBLISHED["regression"], ids=named)
def test_lines_are_those_others_print(row):
    line = rank_regression(lives_of(row["lives"]), how=row["how"], regress=row["regress"])
    intercept = (-line.shape * np.log(line.life)) / np.log(10)
    found = {"shape": line.shape, "life": line.life, "r2": line.r2, "log10_intercept": intercept}
    for key, expected in row["expect"].items():
        assert found[key] == pytest.approx(expected, rel=row["rel"]), key


def test_survivors_shift_the_ranks_of_later_failures():
    row = PUBLISHED["ranks"]
    assert adjusted_ranks(lives_of(row["lives"]))[1] == pytest.approx(row["expect"], abs=1e-12), row["source"]


def test_without_survivors_ranks_are_whole():
    assert adjusted_ranks(observed([3, 1, 2], [1, 1, 1]))[1] == pytest.approx([1, 2, 3])


def test_a_row_of_several_parts_is_several_points():
    age, rank = adjusted_ranks(observed([5, 9], [1, 0], count=[2, 2]))
    assert age.tolist() == [5, 5]
    assert rank == pytest.approx([1, 2])


def test_a_survivor_as_old_as_a_failure_comes_after_it():
    assert adjusted_ranks(observed([5, 5], [0, 1]))[1] == pytest.approx([1])


def test_the_middle_of_three_is_half():
    assert median_ranks([2], 3, "exact") == pytest.approx([0.5])
    assert plotted(observed([1, 2, 3], [1, 1, 1]))[1][1] == pytest.approx(0.5)


@pytest.mark.parametrize("more", [{"last_good": [1, np.nan]}, {"entry": [1, 0]}, {"count": [1.5, 1]}])
def test_lives_without_a_rank_are_refused(more):
    with pytest.raises(UnusableLives):
        adjusted_ranks(observed([5, 9], [1, 0], **more))


def test_a_line_needs_two_ages():
    with pytest.raises(NoFiniteFit):
        rank_regression(observed([5, 5, 9], [1, 1, 0]))
