"""Groups against the rest: the same ages, exact tests, and nothing that depends on units, order or names."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from services.review.compare import common_mode, compared, expected_alike, most_on_one, pieces_of
from tests.services.review.parts import part_of
from tests.simulator.failing import failing_fleet, one_part


def of_batches(part, dimension="batch"):
    return {made.group: made for made in compared(pieces_of([part]), dimension, part.groups[dimension])}


def test_expected_failures_by_hand():
    # Three watched from new: failures at 2 (3 at risk) and 4 (1 at risk); one survivor of 3. Nelson-Aalen: 1/3, then 4/3.
    expected = expected_alike(np.zeros(3), np.array([2.0, 3.0, 4.0]), np.array([True, False, True]))
    assert expected == pytest.approx([1 / 3, 1 / 3, 4 / 3])


def test_a_late_entry_is_not_expected_to_fail_before_it():
    # At 2 two are at risk (the third came at 2 and counts from there on); at 4 the third alone.
    expected = expected_alike(np.array([0.0, 0.0, 2.0]), np.array([2.0, 3.0, 4.0]), np.array([True, False, True]))
    assert expected == pytest.approx([1 / 2, 1 / 2, 1.0])


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_the_expected_failures_are_as_many_as_the_real_ones(seed):
    part = one_part(failing_fleet(seed, trikes=40, kinds=("display",)), 4)
    assert pieces_of([part]).expected.sum() == pytest.approx(part.failed.sum())


def test_with_equal_ages_the_test_is_the_binomial_one():
    # 5 of 40 against 1 of 60, all watched to 1,000 km: given 6 failures, 5 or more fall on 40 % of the parts.
    # All failed at the very end, where all were at risk. Source: scipy.stats.binomtest (Clopper and Pearson 1934 behind it).
    part = part_of(
        end=[1000.0] * 100, failed=[True] * 5 + [False] * 35 + [True] + [False] * 59, batch=["A"] * 40 + ["B"] * 60
    )
    found = of_batches(part)
    assert found["A"].p == pytest.approx(binomtest(5, 6, 0.4).pvalue)
    assert (found["A"].failed, found["A"].fitted, found["A"].rest_failed, found["A"].rest_fitted) == (5, 40, 1, 60)
    assert found["A"].ratio == pytest.approx((5 / 40) / (1 / 60))
    assert found["A"].p == pytest.approx(found["B"].p)
    assert (found["A"].is_worse, found["B"].is_worse) == (True, False)


def test_an_old_batch_of_what_wears_out_is_not_called_bad_for_being_old():
    # One law for all (shape 4); the old batch has run twice as far. Rates alone would condemn it.
    rng = np.random.default_rng(3)
    life, reach = 1000 * rng.weibull(4.0, 200), np.repeat([900.0, 450.0], 100)
    part = part_of(end=np.minimum(life, reach), failed=life < reach, batch=["old"] * 100 + ["young"] * 100)
    old = of_batches(part)["old"]
    assert old.rate > 3 * (old.rest_failed / old.rest_exposure)
    assert old.p > 0.2


def test_parts_of_unknown_age_are_compared_by_what_they_ran():
    known = np.array([False] * 20)
    part = part_of(end=[100.0] * 10 + [300.0] * 10, failed=[True] * 3 + [False] * 16 + [True], known=known,
                   batch=["A"] * 10 + ["B"] * 10)  # fmt: skip
    assert of_batches(part)["A"].expected == pytest.approx(4 * 1000 / 4000)


@pytest.mark.parametrize(
    "batch", [["A"] * 20, ["A"] * 18 + ["B"] * 2, [""] * 10 + ["A"] * 10], ids=["one", "two pieces", "unknown"]
)
def test_without_two_groups_of_three_nothing_is_compared(batch):
    assert of_batches(part_of(end=[100.0] * 20, failed=[True] * 4 + [False] * 16, batch=batch)) == {}


def test_one_failure_alone_is_never_compared():
    assert of_batches(part_of(end=[100.0] * 20, failed=[True] + [False] * 19, batch=["A"] * 10 + ["B"] * 10)) == {}


def test_pieces_of_no_known_group_are_part_of_the_rest():
    part = part_of(end=[100.0] * 30, failed=[True] * 3 + [False] * 27, batch=["A"] * 10 + ["B"] * 10 + [""] * 10)
    assert of_batches(part)["A"].rest_fitted == 20


def test_failures_of_one_trike_are_told_and_left_out_once():
    part = part_of(
        end=[100.0] * 40, failed=[True] * 5 + [False] * 35, batch=["A"] * 20 + ["B"] * 20,
        machine=[7, 7, 7, 7, 8, *range(100, 135)], mode=["leakage"] * 4 + ["noise"] + [""] * 35,
    )  # fmt: skip
    found = of_batches(part)["A"]
    assert (found.machines, found.most_on_one, found.worst_machine) == (2, 4, 7)
    assert found.mode == "leakage"
    assert found.p < 0.1 < found.p_without


@pytest.mark.parametrize(
    ("modes", "common"), [(["a"] * 4 + ["b"], "a"), (["a"] * 3 + ["b"], ""), ([], ""), (["a"], "a")]
)
def test_failures_have_a_common_mode_from_four_in_five_on(modes, common):
    assert common_mode(np.array(modes)) == common


def test_no_failure_lies_on_no_machine():
    assert most_on_one(np.array([])) == (0, 0, None)


FLEETS = st.integers(0, 10_000).map(lambda seed: one_part(failing_fleet(seed, trikes=60, kinds=("display",)), 4))


@given(FLEETS, st.sampled_from([1.609344, 1e-3, 1e6]))
@settings(max_examples=25, deadline=None)
def test_another_unit_changes_rates_and_nothing_else(part, unit):
    columns = {name: getattr(part, name) * unit for name in ("entry", "end", "age", "at_month", "ahead", "last_good")}
    for name, made in of_batches(part).items():
        other = of_batches(replace(part, **columns))[name]
        assert other.p == pytest.approx(made.p)
        assert other.ratio == pytest.approx(made.ratio)
        assert other.rate * unit == pytest.approx(made.rate)


@given(FLEETS, st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_the_order_of_pieces_does_not_matter(part, random):
    order = np.array(random.sample(range(len(part.component)), len(part.component)), dtype=int)
    columns = {
        name: getattr(part, name)[order]
        for name in ("component", "known", "entry", "end", "failed", "last_good", "mode", "machine", "fitted")
    }
    turned = replace(part, groups={"batch": part.groups["batch"][order]}, **columns)
    one, other = of_batches(part), of_batches(turned)
    assert one.keys() == other.keys()
    assert all(one[name].p == pytest.approx(other[name].p) for name in one)


@given(FLEETS)
@settings(max_examples=25, deadline=None)
def test_other_names_for_batches_and_trikes_change_no_p(part):
    renamed = replace(part, groups={"batch": np.char.add("x", part.groups["batch"])}, machine=part.machine * 7 + 3)
    one, other = of_batches(part), of_batches(renamed)
    assert [made.p for made in one.values()] == [made.p for made in other.values()]
    assert [made.p_without for made in one.values()] == [made.p_without for made in other.values()]
