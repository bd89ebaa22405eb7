"""Observed lives: what counts, what is refused, one way of failing at a time."""

import numpy as np
import pytest

from services.life_data.lives import UnusableLives, has_been_watched, modes_of, observed, of_mode


def test_survivors_are_lives_too():
    lives = observed([100, 200, 300], [True, False, False], count=[1, 5, 2])
    assert (lives.parts, lives.failures) == (8, 1)
    assert lives.exposure == 100 + 5 * 200 + 2 * 300


def test_a_part_registered_in_mid_life_counts_from_then_on_only():
    assert observed([500], [False], entry=[300]).exposure == 200


def test_a_failure_found_at_a_look_lies_between_that_look_and_the_one_before():
    lives = observed([100, 200, 300], [True, True, False], last_good=[40, np.nan, np.nan])
    assert lives.between.tolist() == [True, False, False]
    assert lives.exact.tolist() == [False, True, False]
    assert lives.survived.tolist() == [False, False, True]
    assert (lives.lower[0], lives.upper[0], lives.seen_until[0]) == (40, 100, 100)
    assert lives.exposure == 70 + 200 + 300


def test_a_look_at_a_survivor_changes_nothing():
    assert observed([100], [False], last_good=[40]).lower[0] == 100


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"age": [np.nan, 1]}, "age"),
        ({"age": [0, 1]}, "age"),
        ({"entry": [-1, 0]}, "entry"),
        ({"entry": [5, 0]}, "age"),
        ({"entry": [np.inf, 0]}, "entry"),
        ({"count": [0, 1]}, "count"),
        ({"mode": [1.5, 0]}, "mode"),
        ({"mode": [-1, 0]}, "mode"),
        ({"last_good": [5, np.nan]}, "last_good"),
        ({"entry": [3, 0], "last_good": [2, np.nan]}, "last_good"),
        ({"count": [1, 1, 1]}, "count"),
    ],
)
def test_lives_that_contradict_themselves_are_refused_by_row(more, field):
    with pytest.raises(UnusableLives) as refused:
        observed(**{"age": [5, 9], "failed": [True, False], **more})
    assert refused.value.field == field


def test_the_refusal_names_the_first_rows_and_what_to_do():
    with pytest.raises(UnusableLives) as refused:
        observed([1, 0, 1, 0], [True] * 4)
    assert refused.value.facts["rows"] == [2, 4]
    assert "2, 4" in refused.value.message
    assert "survivors" in refused.value.remedy


def test_what_was_fitted_today_says_nothing_yet():
    assert has_been_watched([0, 10, 10], [0, 10, 5]).tolist() == [False, False, True]


def test_other_modes_had_survived_this_one_until_they_failed():
    lives = observed([10, 20, 30, 40], [1, 1, 1, 0], mode=[1, 2, 1, 0])
    leak = of_mode(lives, 2)
    assert leak.survived.tolist() == [True, False, True, True]
    assert leak.parts == 4
    assert modes_of(lives) == [1, 2]


def test_another_mode_found_at_a_look_was_good_at_the_look_before():
    lives = observed([10, 20, 30], [1, 1, 1], mode=[1, 1, 2], last_good=[4, 0, np.nan])
    leak = of_mode(lives, 2)
    assert leak.lower.tolist() == [4, 30]


def test_a_mode_on_a_survivor_is_forgotten():
    assert observed([10], [False], mode=[3]).mode.tolist() == [0]
