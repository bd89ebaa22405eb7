"""Trends and the power law of repairs: published answers, simulated truth, refusals."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.life_data.recurrence import BadHistories, histories
from services.life_data.trend import (
    BETTER,
    CANNOT_TELL,
    TOO_FEW,
    WORSE,
    conditional_shape,
    fit_grouped,
    fit_power_law,
    gap_factors,
    misfit,
    misfit_limit,
    one_shape,
    shape_limits,
    trend,
)
from tests.services.life_data.repair_samples import REPAIRS, one_system, three_systems, valve_seats


def exactly(expected, rel=1e-8):
    return pytest.approx(expected, rel=rel)


def air_conditioning():
    """Proschan (1963), sample 8: one aircraft, intervals in their order, ended by the last repair."""
    age = np.cumsum(REPAIRS["air_conditioning"]["intervals"])
    return histories(age[-1], np.zeros(len(age), dtype=int), age)


def drawn(machines, shape, seed, expected=3.0):
    """Machines repaired by a power law over 1,000 km, `expected` times each."""
    random = np.random.default_rng(seed)
    machine = np.repeat(np.arange(machines), random.poisson(expected, machines))
    return histories(np.full(machines, 1000.0), machine, 1000.0 * random.uniform(0.0, 1.0, len(machine)) ** (1 / shape))


# --- one machine


def test_the_unbiased_power_law_of_the_handbook_page():  # NIST e-Handbook 8.4.5.2: 0.483506, 0.2913003, 310.234
    shape = conditional_shape(one_system("repair_times"))[1]
    assert shape == exactly(0.4835059794, 1e-9)
    assert 10 / 1500**shape == exactly(0.2913002686, 1e-9)
    assert 1 - shape == pytest.approx(0.516494, abs=1e-6)
    assert 1500 / (10 * shape) == exactly(310.2340124, 1e-9)


def test_the_maximum_likelihood_power_law():  # surpyval on the repair times of NIST 8.4.5.2; limits by Crow's method
    law = fit_power_law(one_system("repair_times"))
    assert (law.shape, law.scale) == (exactly(0.5372288660), exactly(0.1966582157))
    gap = 1 / law.rate(1500.0)
    assert gap == exactly(279.2106111)
    assert [gap * factor for factor in gap_factors(10, 0.8)] == exactly([153.315746, 596.273782])


def test_the_military_handbooks_individual_times():  # MIL-HDBK-189 (1981), appendix C: 0.716, 0.454, 0.091
    seen = one_system("handbook_times")
    law = fit_power_law(seen)
    assert (law.shape, law.scale) == (exactly(0.7163392624), exactly(0.4538418614))
    assert conditional_shape(seen)[1] == exactly(0.6898081786)
    assert law.rate(300.0) == exactly(0.06447053361)
    assert law.expected(300.0) == exactly(27.0)
    assert misfit(seen) == (exactly(0.09106112239), 27)


def test_its_exact_limits():  # chi-square on 54 degrees; surpyval's Crow coefficients, MIL-HDBK-189 times
    seen = one_system("handbook_times")
    gap = 1 / fit_power_law(seen).rate(300.0)
    assert shape_limits(seen, 0.9) == exactly((0.5056322876, 0.9571515120))
    assert [gap * factor for factor in gap_factors(27, 0.9)] == exactly([9.867247, 26.086125], 1e-7)


def test_the_grouped_example_of_the_military_handbook():  # MIL-HDBK-189 (1981), grouped: 0.753, 1.53
    law = fit_grouped([0, 20, 40, 60, 80, 100], [13, 16, 5, 8, 7])
    assert (law.shape, law.scale) == (exactly(0.752850887), exactly(1.529305697))
    assert 1 / law.rate(100.0) == exactly(2.710784250)
    assert law.repairs == 49


@pytest.mark.parametrize(
    ("repairs", "level", "ended", "factors"),
    [
        (23, 0.8, False, (0.6761942617, 1.574428990)),  # NASA TM-103511 prints 0.6762, 1.5744
        (27, 0.9, False, (0.6361466996, 1.681786373)),  # surpyval
        (26, 0.95, True, (0.6333100346, 1.919328278)),  # surpyval
    ],
)
def test_factors_of_the_distance_between_repairs(repairs, level, ended, factors):
    assert gap_factors(repairs, level, ended) == exactly(factors)


def test_the_worked_example_of_the_space_agency():  # NASA TM-103511: 52.7 [35.6, 82.9]
    gap = 1 / fit_power_law(one_system("growth_times")).rate(500.0)
    assert gap == exactly(52.67048374)
    assert [gap * factor for factor in gap_factors(23, 0.8)] == pytest.approx([35.6155, 82.9259], abs=1e-4)


def test_after_a_single_repair_the_distance_has_no_upper_limit():
    low, high = gap_factors(1)
    assert 0 < low < 1
    assert high == np.inf


def test_intervals_of_one_aircraft_in_their_order_grow_shorter():  # Proschan (1963), sample 8
    seen = air_conditioning()
    assert fit_power_law(seen).shape == exactly(1.505915272)
    assert trend(seen, ended_by_repair=True).laplace == exactly(2.206465160)


# --- several machines


def test_three_systems_pooled():  # Crow (1975), section 3.1: 0.615, 0.461, 0.598
    law = fit_power_law(three_systems())
    assert (law.shape, law.scale) == (exactly(0.6153362534), exactly(0.4605471198))
    assert conditional_shape(three_systems())[1] == exactly(0.5982435797)


def test_three_systems_stopped_at_their_last_failures():  # Crow (1975), 3.1 and 3.2: 0.626, 0.443, 0.575, 0.557
    stopped = replace(three_systems(), end=np.array([197.2, 190.8, 195.8]))
    law = fit_power_law(stopped)
    assert (law.shape, law.scale) == (exactly(0.6258677014), exactly(0.4430888824))
    assert conditional_shape(stopped, ended_by_repair=True) == exactly((0.5746748684, 0.5572604777))


def test_exact_limits_and_misfit_of_three_systems():  # Crow (1975), 3.5, 3.7, table 2: 0.459, 0.793; 0.069 against 0.213
    assert shape_limits(three_systems(), 0.9) == exactly((0.4569071059, 0.7931707405))
    assert misfit(three_systems())[0] == exactly(0.06953089, 1e-7)
    assert misfit_limit(36) == pytest.approx(0.213, abs=0.006)  # drawn, not his table


def test_tests_of_three_systems():  # report of the R package mcotear: -3.012036, 117.0092, 1.762104 and their p
    told = trend(three_systems())
    assert (told.laplace, told.laplace_p) == (exactly(-3.012036354), exactly(0.002595015, 1e-6))
    assert (told.chi_square, told.chi_square_p) == (exactly(117.0091957), exactly(0.001269251, 1e-6))
    assert one_shape(three_systems()) == exactly((1.762103815, 0.4143468), 1e-6)
    assert told.words == BETTER


def test_valve_seats_get_worse():  # Nelson (1995) data; surpyval: 1.39958, 2.37869, 66.1484
    law, told = fit_power_law(valve_seats()), trend(valve_seats())
    assert (law.shape, law.scale) == (exactly(1.399579267), exactly(1.447546107e-4))
    assert (told.laplace, told.laplace_p) == (exactly(2.378692780), exactly(0.0173741, 1e-5))
    assert (told.chi_square, told.chi_square_p) == (exactly(66.14835373), exactly(2 * 0.008652401, 1e-7))
    assert told.words == WORSE


def test_tests_of_the_repair_times():  # NIST e-Handbook 8.2.3.4: formulas; one tail 0.01098636
    told = trend(one_system("repair_times"))
    assert (told.laplace, told.chi_square) == (exactly(-1.326949183), exactly(37.22808148))
    assert told.chi_square_p == exactly(2 * 0.01098636, 1e-6)
    assert told.words == CANNOT_TELL  # the two tests do not agree


def test_systems_watched_from_mid_life():  # surpyval: Crow's systems from 0, 50 and 20 hours on, 27 failures left
    law = fit_power_law(three_systems((0.0, 50.0, 20.0)))
    assert (law.shape, law.scale, law.repairs) == (exactly(0.574124061), exactly(0.564845976), 27)


# --- what must hold


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.5, 2.5), st.floats(0.01, 100.0))
def test_the_unit_changes_neither_shape_nor_tests(seed, shape, factor):
    one = drawn(20, shape, seed)
    other = histories(one.end * factor, one.machine, one.age * factor)
    assert fit_power_law(other).shape == exactly(fit_power_law(one).shape)
    assert trend(other).laplace == exactly(trend(one).laplace)
    assert trend(other).words == trend(one).words


def test_the_shape_is_found_again():
    assert fit_power_law(drawn(500, 1.6, seed=1)).shape == pytest.approx(1.6, rel=0.05)


def test_without_a_trend_at_most_five_in_a_hundred_get_a_word():
    words = [trend(drawn(20, 1.0, seed)).words for seed in range(1000)]
    assert sum(word in {BETTER, WORSE} for word in words) <= 50


def test_a_strong_trend_is_seen():
    assert sum(trend(drawn(20, 1.8, seed)).words == WORSE for seed in range(100)) >= 95
    assert sum(trend(drawn(20, 0.5, seed)).words == BETTER for seed in range(100)) >= 95


def test_four_repairs_are_too_few():
    assert trend(histories([10.0], [0] * 4, [1.0, 1.1, 1.2, 1.3])).words == TOO_FEW


def test_limits_of_the_shape_cover_it():
    held = 0
    for seed in range(1000):
        low, high = shape_limits(drawn(5, 1.4, seed), 0.9)
        held += low <= 1.4 <= high
    assert 0.87 <= held / 1000 <= 0.93


def test_limits_of_the_distance_between_repairs_cover_it():
    held, factors_of = 0, cache(gap_factors)
    for seed in range(1000):
        seen = drawn(1, 0.7, seed, expected=12.0)
        gap = 1 / fit_power_law(seen).rate(1000.0)
        low, high = (gap * factor for factor in factors_of(len(seen.age), 0.9))
        held += low <= 1000 / (12 * 0.7) <= high
    assert 0.88 <= held / 1000 <= 0.96  # counts are steps: exact limits cover a little more


@pytest.mark.parametrize(
    "told",
    [
        lambda: trend(histories([5.0], [], [])),
        lambda: trend(histories([5.0], [0], [5.0]), ended_by_repair=True),
        lambda: fit_power_law(histories([5.0], [], [])),
        lambda: fit_power_law(histories([5.0], [0], [2.0], -1.0)),
        lambda: fit_power_law(histories([5.0], [0], [5.0])),
        lambda: fit_power_law(histories([5.0], [0], [1.1], 1.0)),
        lambda: fit_grouped([0, 1, 2], [0, 0]),
        lambda: fit_grouped([0, 1, 2], [3, 0]),
        lambda: fit_grouped([0, 1, 2], [0, 3]),
        lambda: fit_grouped([1, 2, 3], [1, 3]),
        lambda: fit_grouped([0, 2, 2], [1, 3]),
        lambda: fit_grouped([0, 2], [1, 3]),
        lambda: conditional_shape(histories([5.0], [0], [2.0], 1.0)),
        lambda: conditional_shape(histories([5.0], [], [])),
        lambda: gap_factors(0),
        lambda: gap_factors(1, ended_by_repair=True),
        lambda: misfit_limit(0),
        lambda: one_shape(histories([5.0], [0], [2.0])),
    ],
)
def test_what_no_trend_can_be_told_from_is_refused(told):
    with pytest.raises(BadHistories):
        told()
