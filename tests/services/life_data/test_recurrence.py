"""Mean cumulative repairs: published examples, the sum over machines written out, and what must not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.life_data.recurrence import VARIANCES, BadHistories, difference, histories, mean_repairs
from tests.services.life_data.repair_samples import valve_seats

# Meeker and Escobar (1998), section 16.2: three machines, repairs at 5, 8 | none | 1, 8, 16; ends 12, 16, 20.
THREE = histories([12.0, 16.0, 20.0], [0, 0, 2, 2, 2], [5.0, 8.0, 1.0, 8.0, 16.0])


def written_out(seen, unbiased):
    """The variance after all steps as its definition says, machine by machine and pair of steps by pair."""
    steps = np.unique(seen.age)
    if not len(steps):
        return 0.0
    watched = (seen.start < steps[:, None]) & (steps[:, None] <= seen.end)
    own = np.array([np.bincount(seen.machine[seen.age == age], minlength=len(seen.end)) for age in steps])
    count = watched.sum(axis=1)
    x = np.where(watched, (own - own.sum(axis=1, keepdims=True) / count[:, None]) / count[:, None], 0.0)
    pairs = x @ x.T
    later = np.maximum.outer(np.arange(len(steps)), np.arange(len(steps)))
    return float((pairs * (count / np.maximum(count - 1, 1))[later]).sum() if unbiased else pairs.sum())


@st.composite
def fleets(draw):
    windows = draw(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 30)), min_size=1, max_size=8))
    start = np.array([float(first) for first, _ in windows])
    end = start + np.array([float(length) for _, length in windows])
    repairs = draw(st.lists(st.tuples(st.integers(0, len(windows) - 1), st.integers(1, 30)), max_size=20))
    machine = np.array([row for row, _ in repairs], dtype=int)
    age = np.array([min(start[row] + later, end[row]) for row, later in repairs])
    return histories(end, machine, age, start)


# W. Nelson, IEEE Trans. Reliability 44 (1995), valve seats; standard errors by three definitions.
@pytest.mark.parametrize(
    ("variance", "error"), [("nelson", 0.3238553401), ("lawless", 0.3116560748), ("poisson", 0.2628055968)]
)
def test_valve_seats_at_653_days(variance, error):
    mean, spread = mean_repairs(valve_seats(), variance).at(653.0)
    assert mean == pytest.approx(1.542687514, abs=1e-8)
    assert np.sqrt(spread) == pytest.approx(error, abs=1e-8)


def test_valve_seats_at_139_days_as_nelson_prints_them():  # Nelson (1995): 0.220, standard error 0.074
    mean, spread = mean_repairs(valve_seats()).at(139.0)
    assert round(float(mean), 3) == 0.220
    assert round(float(np.sqrt(spread)), 3) == 0.074


def test_limits_lie_on_the_log_scale():  # R survival, valve seats at 653 days
    curve = mean_repairs(valve_seats(), "lawless")
    low, high = curve.limits(0.95)
    at = np.flatnonzero(curve.age <= 653.0)[-1]
    assert [low[at], high[at]] == pytest.approx([1.038286, 2.292129], abs=1e-6)


def test_engines_watched_from_mid_life():  # surpyval and the definition: valve seats, watched from 0, 100, 200 days in turn
    seen = valve_seats((0.0, 100.0, 200.0))
    mean, spread = mean_repairs(seen, "lawless").at(653.0)
    assert len(seen.age) == 40
    assert mean == pytest.approx(1.417251973, abs=1e-8)
    assert np.sqrt(spread) == pytest.approx(0.3161228868, abs=1e-8)


def test_three_machines_by_hand():  # Meeker and Escobar (1998), section 16.2
    curve = mean_repairs(THREE, "lawless")
    assert curve.age.tolist() == [1, 5, 8, 16]
    assert curve.mean == pytest.approx([1 / 3, 2 / 3, 4 / 3, 11 / 6], rel=1e-14)
    assert curve.variance == pytest.approx([6 / 81, 6 / 81, 24 / 81, 163 / 216], rel=1e-13)


@settings(max_examples=200, deadline=None)
@given(fleets())
def test_the_fast_sums_are_the_definition(seen):
    for variance, unbiased in (("lawless", False), ("nelson", True)):
        curve = mean_repairs(seen, variance)
        ours = curve.variance[-1] if len(curve.age) else 0.0
        assert ours == pytest.approx(max(written_out(seen, unbiased), 0.0), abs=1e-10)


@settings(max_examples=50, deadline=None)
@given(fleets(), st.randoms(use_true_random=False))
def test_neither_order_nor_the_unit_matters(seen, random):
    turned = list(range(len(seen.age)))
    random.shuffle(turned)
    miles = histories(seen.end * 1.609344, seen.machine[turned], seen.age[turned] * 1.609344, seen.start * 1.609344)
    one, other = mean_repairs(seen), mean_repairs(miles)
    assert other.age == pytest.approx(one.age * 1.609344)
    assert other.mean == pytest.approx(one.mean)
    assert other.variance == pytest.approx(one.variance, abs=1e-12)


def test_a_machine_without_repairs_lowers_the_mean():
    more = histories([*THREE.end, 20.0], THREE.machine, THREE.age)
    assert mean_repairs(more).mean[0] == pytest.approx(1 / 4)


def test_two_repairs_at_one_visit_are_one_step():
    curve = mean_repairs(histories([10.0, 10.0], [0, 0], [4.0, 4.0]))
    assert (curve.age.tolist(), curve.repairs.tolist(), curve.mean.tolist()) == ([4.0], [2], [1.0])


def test_a_curve_is_shown_while_three_machines_are_watched():
    assert mean_repairs(THREE).shown == 3
    assert mean_repairs(histories([9.0] * 3, [0], [5.0])).shown == 1


@pytest.mark.parametrize("variance", VARIANCES)
def test_no_repair_is_a_curve_without_steps(variance):
    curve = mean_repairs(histories([5.0, 9.0], [], []), variance)
    assert (len(curve.age), curve.shown, float(curve.at(3.0)[0])) == (0, 0, 0.0)
    assert curve.limits()[0].size == 0


def test_before_the_first_repair_the_mean_is_nothing():
    assert [float(value) for value in mean_repairs(THREE).at(0.5)] == [0.0, 0.0]


def test_nelsons_limits_cover_the_truth():
    """Machines of different temper (gamma, shape 2), 40 watched over windows of 500 to 1,500 km; 2,000 fleets, seeded."""
    random, held = np.random.default_rng(8), 0
    for _ in range(2000):
        end = random.uniform(500.0, 1500.0, 40)
        machine = np.repeat(np.arange(40), random.poisson(random.gamma(2.0, 1.0, 40) * end / 1000.0))
        curve = mean_repairs(histories(end, machine, random.uniform(0.0, 1.0, len(machine)) * end[machine]))
        at = np.searchsorted(curve.age, 800.0) - 1
        low, high = curve.limits(0.9)
        held += low[at] <= 1.6 <= high[at]
    assert 0.87 <= held / 2000 <= 0.93


def test_a_group_repaired_twice_as_often_stands_apart():
    random = np.random.default_rng(4)
    curves = []
    for mean in (4.0, 2.0):
        machine = np.repeat(np.arange(60), random.poisson(mean, 60))
        curves.append(mean_repairs(histories(np.full(60, 10.0), machine, random.uniform(0.0, 10.0, len(machine)))))
    found = difference(*curves)
    assert found.low[-1] < 2.0 < found.high[-1]
    assert found.low[-1] > 0


def test_a_group_does_not_differ_from_itself():
    curve = mean_repairs(valve_seats())
    found = difference(curve, curve)
    assert not found.more.any()
    assert found.low == pytest.approx(-found.high)
    assert found.age[-1] == curve.age[curve.shown - 1]


def test_groups_too_small_to_show_are_not_compared():
    assert difference(mean_repairs(histories([5.0], [0], [2.0])), mean_repairs(THREE)).age.size == 0


def test_a_hundred_thousand_machines():
    random = np.random.default_rng(5)
    end = random.uniform(500.0, 2000.0, 100_000)
    machine = random.integers(0, 100_000, 100_000)
    age = random.uniform(0.0, 1.0, 100_000) * end[machine]
    mean, spread = mean_repairs(histories(end, machine, age)).at(500.0)
    early = np.bincount(machine[age <= 500.0], minlength=100_000)  # up to there every machine is watched
    assert mean == pytest.approx(early.mean(), rel=1e-10)
    assert spread == pytest.approx(early.var(ddof=1) / 100_000, rel=1e-8)


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        (([], [], []), "machine"),
        (([5.0], [0], []), "machine"),
        (([5.0], [1], [2.0]), "machine"),
        (([5.0], [-1], [2.0]), "machine"),
        (([5.0], [0], [6.0]), "age"),
        (([5.0], [0], [float("nan")]), "age"),
        (([5.0], [0], [2.0], 2.0), "age"),
        (([5.0], [], [], 5.0), "end"),
        (([float("inf")], [], []), "end"),
    ],
)
def test_histories_that_cannot_be_are_refused(arguments, field):
    with pytest.raises(BadHistories) as refused:
        histories(*arguments)
    assert refused.value.field == field
