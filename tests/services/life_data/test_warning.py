"""Early warning: expected failures, thresholds, and false alarms counted on simulated fleets."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import nbinom, poisson

from services.life_data.counts import BadCounts
from services.life_data.warning import (
    alarm_from,
    chance_of,
    chance_to_fail,
    expected_failures,
    likely_range,
    most_with,
    spread_of_expected,
    watch_month,
)

CAGE = json.loads((Path(__file__).parent / "bearing_cage.json").read_text())


def test_the_bearing_cage_forecast():  # Meeker and Escobar (1998), 12.7, print 5.057; computed from the data 5.058209
    found = expected_failures(2.03531861, 11792.17817, CAGE["age"], 300.0, CAGE["survivors"])
    assert sum(CAGE["survivors"]) == 1697
    assert found == pytest.approx(5.058209, abs=1e-5)


def test_lives_by_chance_do_not_age():
    assert chance_to_fail(1.0, 1000.0, [0.0, 5000.0], 100.0) == pytest.approx(np.full(2, -np.expm1(-0.1)))


def test_worn_parts_fail_sooner():
    young, old = chance_to_fail(3.0, 1000.0, [100.0, 900.0], 50.0)
    assert young < old / 10


def test_the_spread_of_what_is_expected_from_the_life_by_chance():  # shape known: expected goes as 1 / scale
    assert spread_of_expected(1.0, 1e6, [[0.04, 0.0], [0.0, 0.0]], [0.0] * 10, 10.0) == pytest.approx(0.2, rel=1e-3)


def test_the_spread_holds_both_numbers_and_their_covariance():
    both = spread_of_expected(2.0, 1000.0, [[0.04, 0.01], [0.01, 0.04]], [300.0], 30.0)
    against = spread_of_expected(2.0, 1000.0, [[0.04, -0.01], [-0.01, 0.04]], [300.0], 30.0)
    assert both != pytest.approx(against)


def test_without_parts_nothing_is_expected():
    assert expected_failures(2.0, 100.0, [], 10.0) == 0.0
    assert spread_of_expected(2.0, 100.0, np.eye(2), [], 10.0) == 0.0


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 200), st.floats(1e-4, 200.0))
def test_the_chance_is_poissons(seen, expected):  # scipy.stats
    assert chance_of(seen, expected) == pytest.approx(poisson.sf(seen - 1, expected), rel=1e-9, abs=1e-300)


def test_an_unsure_life_widens_the_count():  # scipy.stats: a gamma about the mean makes a negative binomial
    weight = 1 / np.expm1(0.5**2)
    theirs = nbinom.sf(9, weight, weight / (weight + 4.0))
    assert chance_of(10, 4.0, 0.5) == pytest.approx(theirs, rel=1e-9)
    assert chance_of(10, 4.0, 0.5) > chance_of(10, 4.0)


@pytest.mark.parametrize("expected", [0.05, 0.3, 2.0, 5.0])
def test_the_less_is_known_the_later_comes_the_alarm(expected):
    limits = [int(alarm_from(expected, 1e-3, spread)) for spread in (0.0, 0.2, 0.5, 0.8, 1.0, 2.0, 30.0)]
    assert limits == sorted(limits)


def test_none_seen_is_never_rare():
    assert chance_of(0, 50.0) == 1.0
    assert chance_of(0, 0.0) == 1.0
    assert chance_of(1, 0.0) == 0.0


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(0.0, 500.0), min_size=1, max_size=5), st.floats(1e-6, 0.5), st.sampled_from([0.0, 0.3]))
def test_an_alarm_begins_at_the_first_count_that_is_rare_enough(expected, share, spread):
    first = alarm_from(expected, share, spread)
    assert (first >= 2).all()
    assert (chance_of(first, expected, spread) <= share).all()
    assert ((first == 2) | (chance_of(first - 1, expected, spread) > share)).all()


def test_one_failure_is_no_alarm():
    assert not watch_month([1], [1e-9]).alarmed[0]
    assert watch_month([2], [1e-9]).alarmed[0]


def test_six_times_what_is_expected_is_alarmed_in_its_month():
    told = watch_month([12, 2, 2], [2.0, 2.0, 2.0], false_alarms_a_year=1.0)
    assert told.alarmed.tolist() == [True, False, False]
    assert told.chance[0] < 1e-5


def test_the_promise_is_kept_and_its_true_share_stated():
    told = watch_month(np.zeros(60), np.linspace(0.05, 5.0, 60), false_alarms_a_year=1.0)
    assert 0.1 < told.false_alarms_a_year <= 1.0


def test_a_great_promise_is_only_as_great_as_all_months():
    assert watch_month([3], [2.0], false_alarms_a_year=100.0).alarm_from[0] == 2


def a_year_of_fleets(random, part_types=40, parts=150):
    """(expected, seen), each (12, part types): Weibull lives of parts of all ages, replaced when they fail."""
    expected, seen = np.zeros((12, part_types)), np.zeros((12, part_types))
    for kind in range(part_types):
        shape, scale = random.uniform(0.8, 3.0), random.uniform(3000.0, 20000.0)
        age, month = random.uniform(0.0, 0.8, parts) * scale, random.uniform(50.0, 500.0, parts)
        for row in range(12):
            chance = chance_to_fail(shape, scale, age, month)
            failed = random.uniform(size=parts) < chance
            expected[row, kind], seen[row, kind] = chance.sum(), failed.sum()
            age = np.where(failed, 0.0, age + month)
    return expected, seen


def test_false_alarms_of_a_year_stay_below_the_promise():
    """60 simulated years of 40 part types, promise one false alarm a year over all; seeded."""
    random, counted, stated = np.random.default_rng(21), 0, []
    for _ in range(60):
        for expected, seen in zip(*a_year_of_fleets(random), strict=True):
            told = watch_month(seen, expected)
            counted += told.alarmed.sum()
            stated.append(told.false_alarms_a_year)
    assert counted / 60 <= 1.0
    assert counted / 60 <= 1.1 * np.mean(stated) + 0.1
    assert counted / 60 > 0.1


def test_false_alarms_stay_below_the_promise_when_the_life_is_unsure():
    """What is expected is itself off by a factor exp(0.4 N): 60 years of 40 part types, seeded."""
    random = np.random.default_rng(22)
    truth = random.uniform(0.1, 6.0, 40)
    alarms = {0.0: 0, 0.4: 0}
    for _ in range(60 * 12):
        expected, seen = truth * np.exp(0.4 * random.standard_normal(40)), random.poisson(truth)
        for spread in alarms:
            alarms[spread] += watch_month(seen, expected, spread).alarmed.sum()
    assert alarms[0.4] / 60 <= 1.2
    assert alarms[0.0] / 60 > 2.0  # what would happen if the fit counted as known


def test_likely_ranges():  # scipy.stats
    assert likely_range(3.0, confidence=0.9) == (poisson.ppf(0.05, 3.0), poisson.ppf(0.95, 3.0))
    assert likely_range(0.0) == (0, 0)
    wide = likely_range(3.0, spread=0.6)
    assert wide[1] > likely_range(3.0)[1]


@settings(max_examples=100, deadline=None)
@given(st.floats(0.0, 300.0), st.floats(0.01, 0.999))
def test_what_suffices_with_a_chance(expected, level):  # scipy.stats
    ours = most_with(expected, level)
    assert poisson.cdf(ours, expected) >= level - 1e-9
    assert ours == 0 or poisson.cdf(ours - 1, expected) < level + 1e-9


@pytest.mark.parametrize(
    "told",
    [
        lambda: expected_failures(0.0, 1.0, [1.0], 1.0),
        lambda: expected_failures(1.0, -1.0, [1.0], 1.0),
        lambda: expected_failures(1.0, 1.0, [-1.0], 1.0),
        lambda: expected_failures(1.0, 1.0, [1.0], -1.0),
        lambda: chance_of(-1, 1.0),
        lambda: chance_of(1, -1.0),
        lambda: chance_of(1, float("nan")),
        lambda: chance_of(1, 1.0, -0.1),
        lambda: watch_month([], []),
        lambda: watch_month([1], [1.0], false_alarms_a_year=0.0),
        lambda: most_with(1.0, 1.0),
        lambda: most_with(1.0, 0.0 - 1e-9),
    ],
)
def test_what_cannot_be_is_refused(told):
    with pytest.raises(BadCounts):
        told()
