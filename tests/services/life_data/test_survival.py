"""Kaplan-Meier and Nelson-Aalen against printed and agreed values, and what must hold for any lives."""

import numpy as np
import pytest

from services.life_data.lives import UnusableLives, observed
from services.life_data.survival import at_ages, at_risk_at, kaplan_meier, nelson_aalen
from tests.services.life_data.published import PUBLISHED, lives_of, named


@pytest.mark.parametrize("row", PUBLISHED["survival"], ids=named)
def test_curves_are_those_others_print(row):
    lives, age = lives_of(row["lives"]), row["age"]
    curves = {limits: kaplan_meier(lives, limits=limits) for limits in ("plain", "log", "log-log")}
    curve, hazard = curves["log-log"], nelson_aalen(lives)
    at = np.searchsorted(curve.age, age, side="right") - 1
    found = {limits: [of.lower[at], of.upper[at]] for limits, of in curves.items()}
    found |= {"survival": curve.value[at], "error": curve.standard_error[at]}
    found |= {"hazard": hazard.value[at], "hazard_error": hazard.standard_error[at]}
    for key, expected in row["expect"].items():
        assert found[key] == pytest.approx(expected, abs=row["abs"]), key


def test_failures_come_before_survivors_of_the_same_age():
    # Convention of R survfit and all libraries compared.
    curve = kaplan_meier(observed([5, 5, 8, 10], [1, 0, 1, 0]))
    assert curve.value.tolist() == [0.75, 0.375]


def test_who_is_registered_at_an_age_of_failure_is_not_yet_at_risk():
    # R survfit; lifelines, surpyval from 0.25 on and statsmodels do the same.
    curve = kaplan_meier(observed([2, 3, 3, 4, 5, 6], [1] * 6, entry=[0, 0, 1, 1, 2, 2]))
    assert curve.value[:2] == pytest.approx([0.75, 0.45], abs=1e-15)


def test_a_curve_that_empties_early_says_so():
    # Only the first part was watched at age 2; lifelines refuses such lives.
    lives = observed([2, 5, 6, 7], [1, 1, 0, 1], entry=[0, 3, 3, 3])
    curve = kaplan_meier(lives)
    assert curve.value.tolist() == [0, 0, 0]
    assert curve.emptied_at == 2
    assert nelson_aalen(lives).value == pytest.approx([1, 4 / 3, 7 / 3], abs=1e-15)


def test_a_curve_that_ends_at_nothing_keeps_its_last_upper_limit():
    curve = kaplan_meier(observed([1, 2, 3], [1, 1, 1]))
    assert curve.emptied_at is None
    assert curve.value[-1] == 0
    assert curve.lower[-1] == 0
    assert curve.upper[-1] == curve.upper[:-1].min()
    assert np.isnan(curve.standard_error[-1])


def test_a_curve_is_drawn_while_three_are_at_risk():
    assert kaplan_meier(observed([1, 2, 3, 4], [1, 1, 1, 1])).drawn_until == 2
    assert kaplan_meier(observed([1, 2], [1, 1])).drawn_until == 0


def test_no_failure_gives_no_step():
    curve = kaplan_meier(observed([4, 5], [0, 0]))
    assert len(curve.age) == 0
    assert at_ages(curve, [1, 9], 1.0).tolist() == [1, 1]


def test_the_curve_steps_at_the_age_itself():
    curve = kaplan_meier(observed([2, 4], [1, 1]))
    assert at_ages(curve, [1.9, 2, 4], 1.0).tolist() == [1, 0.5, 0]
    assert at_ages(nelson_aalen(observed([2, 4], [1, 1])), [1.9, 2, 4], 0.0).tolist() == [0, 0.5, 1.5]


def test_at_risk_counts_who_was_registered_before_and_is_still_there():
    lives = observed([5, 8], [1, 0], entry=[0, 3], count=[2, 3])
    assert at_risk_at(lives, [3, 4, 5, 6, 9]).tolist() == [2, 5, 5, 3, 0]


def test_failures_between_looks_have_no_age_of_their_own():
    with pytest.raises(UnusableLives):
        kaplan_meier(observed([5], [1], last_good=[2]))


def test_order_and_counts_make_no_difference(rng):
    age, failed = rng.integers(1, 20, 40).astype(float), rng.random(40) < 0.4
    once = kaplan_meier(observed(age, failed))
    order = rng.permutation(40)
    assert kaplan_meier(observed(age[order], failed[order])).value == pytest.approx(once.value, abs=1e-14)
    rows, count = np.unique(np.column_stack([age, failed]), axis=0, return_counts=True)
    assert kaplan_meier(observed(rows[:, 0], rows[:, 1], count=count)).value == pytest.approx(once.value, abs=1e-14)


def test_a_survivor_younger_than_every_failure_changes_nothing():
    with_it = kaplan_meier(observed([3, 4, 2], [1, 1, 0]))
    assert with_it.value.tolist() == kaplan_meier(observed([3, 4], [1, 1])).value.tolist()


@pytest.mark.parametrize("limits", ["plain", "log", "log-log"])
def test_limits_stay_within_nothing_and_all(limits, rng):
    curve = kaplan_meier(observed(rng.random(12) + 0.1, rng.random(12) < 0.6), limits=limits)
    assert ((curve.lower >= 0) & (curve.lower <= curve.value)).all()
    assert ((curve.upper <= 1) & (curve.upper >= curve.value)).all()
