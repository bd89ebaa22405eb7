"""Replacement ages: the published optimum, its range, what is never proposed; failures and parts ahead."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import poisson

from services.life_data.counts import BadCounts
from services.life_data.replacement_age import (
    RUN_AND_INSPECT,
    cost_at,
    look_ahead,
    optimal_age,
    optimum,
    propose_interval,
)

CAGE = json.loads((Path(__file__).parent / "bearing_cage.json").read_text())
COVARIANCE = np.array([[0.01, -0.004], [-0.004, 0.05]])


def worn(**changes):
    return optimum(**({"shape": 2.5, "scale": 1000.0, "planned": 1.0, "failure": 5.0} | changes))


def test_the_textbook_optimum():  # Barlow and Proschan's condition; R optimize 493.0469577
    found = worn()
    assert found.age == pytest.approx(493.0469576, rel=1e-7)
    assert found.cost == pytest.approx(0.003462042739, rel=1e-9)
    assert found.cost_of_running == pytest.approx(0.005635302490, rel=1e-9)
    assert found.saving == pytest.approx(0.386, abs=0.0005)


@pytest.mark.parametrize("shape", [1.0, 0.6])
def test_without_wear_out_there_is_no_optimum(shape):  # Barlow and Proschan (1965): run to failure
    found = worn(shape=shape)
    assert found.age == np.inf
    assert found.saving == 0.0
    assert found.share_without == 1.0


def test_a_failure_that_costs_no_more_is_waited_for():
    assert optimal_age(3.0, 100.0, 5.0, 5.0) == np.inf


def test_a_very_steep_life_is_replaced_just_before_its_end():
    assert 0.9 * 100.0 < optimum(300.0, 100.0, 1.0, 5.0).age < 100.0


def test_a_shape_just_above_one_has_no_optimum_within_reach():
    assert optimal_age(1.0001, 100.0, 1.0, 1.1) == np.inf


def test_the_cost_is_that_of_a_cycle_over_its_length():  # scipy.integrate
    alive = np.exp(-((700 / 1000.0) ** 2.5))
    length = quad(lambda t: np.exp(-((t / 1000.0) ** 2.5)), 0, 700.0)[0]
    assert cost_at(700.0, 2.5, 1000.0, 1.0, 5.0) == pytest.approx((alive + 5 * (1 - alive)) / length, rel=1e-10)


@settings(max_examples=100, deadline=None)
@given(st.floats(1.2, 8.0), st.floats(1.5, 50.0), st.floats(0.1, 1e5))
def test_no_other_age_costs_less(shape, failure, scale):
    age = float(optimal_age(shape, scale, 1.0, failure))
    ages = np.geomspace(0.01 * scale, 10.0 * scale, 400)
    least = float(cost_at(age, shape, scale, 1.0, failure))
    assert (cost_at(ages, shape, scale, 1.0, failure) >= least * (1 - 1e-9)).all()
    assert optimal_age(shape, 1.609344 * scale, 1.0, failure) == pytest.approx(1.609344 * age)


def test_the_cost_is_flat_about_its_lowest_point():
    found = worn()
    assert cost_at([0.75 * found.age, 1.25 * found.age], 2.5, 1000.0, 1.0, 5.0).max() < 1.07 * found.cost
    assert found.flat_from < 0.85 * found.age
    assert found.flat_until > 1.15 * found.age


def test_a_known_life_has_a_single_age():
    found = worn()
    assert (found.low, found.high) == pytest.approx((found.age, found.age))
    assert found.share_without == 0.0


def test_an_unsure_life_has_a_range():
    found = worn(covariance=COVARIANCE)
    assert found.low < found.age < found.high
    assert found.share_without < 0.01
    assert worn(shape=1.1, covariance=COVARIANCE).share_without > 0.2


def test_the_range_holds_the_true_optimum():
    """Fits drawn about a known life with their own covariance: the truth lies in nine of ten ranges; seeded."""
    random, held = np.random.default_rng(31), 0
    for log_scale, log_shape in random.multivariate_normal([np.log(1000.0), np.log(2.5)], COVARIANCE, 300):
        found = worn(shape=np.exp(log_shape), scale=np.exp(log_scale), covariance=COVARIANCE, draws=400)
        held += found.low <= 493.0469576 <= found.high
    assert 0.85 <= held / 300 <= 0.95


# --- proposals


def test_a_worn_out_part_gets_an_interval_in_two_digits():
    told = propose_interval(worn(), shape_low=1.6)
    assert told.interval == 490.0
    assert told.words.startswith("Replace at 490 km (anything from 3")
    assert told.words.endswith("saves about 39 % against running to failure.")


def test_a_shape_that_may_be_one_gets_no_interval():
    told = propose_interval(worn(), shape_low=0.98)
    assert told.interval is None
    assert told.words == "No optimum: run it and inspect."
    assert RUN_AND_INSPECT in told.words.lower()


def test_a_small_saving_is_not_worth_a_plan():
    told = propose_interval(worn(failure=1.6), shape_low=1.6)
    assert told.interval is None
    assert told.words.startswith("Replacing by age would save only")


@pytest.mark.parametrize(("makers", "now"), [(400.0, None), (None, 400.0), (400.0, 600.0), (490.0, None)])
def test_a_limit_on_a_safety_critical_part_is_never_lengthened(makers, now):
    told = propose_interval(worn(), 1.6, now=now, makers_limit=makers, safety_critical=True)
    assert told.interval is None
    assert told.words == f"Leave it at {makers or now:,.0f} km: on a safety-critical part a limit is never lengthened."


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 5000.0), st.floats(1.0, 5000.0), st.floats(0.5, 3.0))
def test_whatever_the_fit_a_safety_critical_interval_only_shortens(makers, now, shape_low):
    told = propose_interval(worn(), shape_low, now=now, makers_limit=makers, safety_critical=True)
    assert told.interval is None or told.interval < min(makers, now)


def test_a_safety_critical_part_may_be_replaced_sooner():
    assert propose_interval(worn(), 1.6, makers_limit=2000.0, safety_critical=True).interval == 490.0


def test_the_makers_limit_stays_where_no_age_is_justified():
    told = propose_interval(worn(), 0.9, makers_limit=2000.0, safety_critical=True)
    assert told.words == "No optimum: run it and inspect. The maker's limit of 2,000 km stays."


def test_going_beyond_the_maker_on_another_part_is_said():
    told = propose_interval(worn(), 1.6, unit="h", makers_limit=300.0)
    assert told.interval == 490.0
    assert told.words.endswith("The maker says 300 h: ask before going beyond it.")


# --- ahead


def test_failures_and_parts_ahead():  # Meeker and Escobar (1998), 12.7: 5.057 failures in the next 300 hours; scipy.stats
    told = look_ahead(2.03531861, 11792.17817, CAGE["age"], 300.0, parts=CAGE["survivors"])
    assert told.expected == pytest.approx(5.058209, abs=1e-5)
    assert (told.low, told.high) == (2, 9)
    assert told.hold == poisson.ppf(0.95, told.expected)


def test_an_unsure_life_holds_more_parts():
    sure = look_ahead(2.0, 1000.0, np.full(50, 400.0), 200.0)
    unsure = look_ahead(2.0, 1000.0, np.full(50, 400.0), 200.0, covariance=[[0.04, 0.0], [0.0, 0.04]])
    assert unsure.expected == sure.expected
    assert unsure.hold > sure.hold


def test_parts_held_suffice_as_often_as_promised():
    random = np.random.default_rng(32)
    age, further = random.uniform(0.0, 1200.0, 80), random.uniform(50.0, 400.0, 80)
    told = look_ahead(2.5, 1000.0, age, further, level=0.95)
    cycles = 1000.0 * ((age / 1000.0) ** 2.5 - np.log(random.uniform(size=(5000, 80)))) ** (1 / 2.5)
    failed = (cycles <= age + further).sum(axis=1)
    assert failed.mean() == pytest.approx(told.expected, rel=0.02)
    assert (failed <= told.hold).mean() >= 0.95


@pytest.mark.parametrize(
    "told",
    [
        lambda: cost_at(0.0, 2.0, 100.0, 1.0, 5.0),
        lambda: cost_at(10.0, 0.0, 100.0, 1.0, 5.0),
        lambda: optimal_age(2.0, -1.0, 1.0, 5.0),
        lambda: optimal_age(2.0, 1.0, 0.0, 5.0),
        lambda: optimum(2.0, 1.0, 1.0, float("nan")),
        lambda: look_ahead(2.0, 100.0, [10.0], 5.0, level=1.5),
    ],
)
def test_what_has_no_answer_is_refused(told):
    with pytest.raises(BadCounts):
        told()
