"""The simulated fleet is what it says: quantiles of the method's prototype, within the luck of the draw.

The figures are the ones stated for 2,000 machines of the prototype's own simulator; ours is another program.
"""

from datetime import date

import numpy as np
import pytest

from tests.simulator.fleet import FIRST_DAY, as_of_days, simulate, tasks
from tests.simulator.readings import mistyped
from tests.simulator.worlds import WORLDS

NEW_YEAR = float(date(2026, 1, 1).toordinal())


@pytest.fixture(scope="module")
def fleet():
    return simulate(11)


def test_the_distance_ridden_in_2026_has_the_stated_quantiles(fleet):
    who = np.arange(fleet.n)
    year = fleet.life_on(who, NEW_YEAR + 364) - fleet.life_on(who, NEW_YEAR - 1)
    low, *middle, high = np.quantile(year, [0.10, 0.25, 0.50, 0.75, 0.90])
    assert middle == pytest.approx([970, 1920, 3570], rel=0.12)
    assert low == pytest.approx(180, abs=100)
    assert high == pytest.approx(6270, rel=0.15)


def test_the_readings_a_machine_have_the_stated_quantiles(fleet):
    count = np.bincount(fleet.machine[fleet.day < NEW_YEAR], minlength=fleet.n)
    assert np.quantile(count, [0, 0.10, 0.25, 0.50, 0.75, 0.90]) == pytest.approx([0, 2, 3, 7, 13, 22], abs=1)
    assert 28 <= count.max() <= 32
    assert count.mean() == pytest.approx(9.1, rel=0.08)


def test_three_readings_in_a_hundred_are_wrong_and_half_the_swaps_are_told(fleet):
    assert (fleet.error != "").mean() == pytest.approx(0.03, abs=0.004)
    assert len(fleet.swap_day) / len(fleet.all_swaps.day) == pytest.approx(0.5, abs=0.08)
    assert np.isnan(fleet.old_final).mean() == pytest.approx(0.4, abs=0.12)


def test_a_correct_exact_reading_shows_true_life_where_no_display_was_swapped(fleet):
    plain = ~np.isin(fleet.machine, fleet.all_swaps.machine) & (fleet.source == "bench") & (fleet.error == "")
    assert np.abs(fleet.value - fleet.true_life)[plain & ~fleet.double].max() <= 0.51


def test_the_same_seed_gives_the_same_fleet_and_another_seed_another():
    first, again, other = simulate(3, 40), simulate(3, 40), simulate(4, 40)
    assert first.value.tolist() == again.value.tolist()
    assert first.value.tolist() != other.value.tolist()


def test_about_45_in_100_tasks_are_due_on_the_as_of_day(fleet):
    # the prototype's own share; a task depends on readings known by then, its due day on the truth
    day = as_of_days()[0]
    asked = tasks(fleet, day)
    assert (asked.due_day <= day).mean() == pytest.approx(0.45, abs=0.05)
    inside = asked.due_day < day + 730
    who, due = asked.machine[inside], asked.due_day[inside]
    assert (fleet.life_on(who, due) >= asked.target_km[inside] - 0.01).all()
    assert (fleet.life_on(who, due - 1) < asked.target_km[inside] + 0.01).all()


@pytest.mark.parametrize("world", sorted(WORLDS))
def test_every_world_rides_and_reads(world):
    fleet = simulate(5, 60, world)
    assert (np.diff(fleet.life[:, int(fleet.delivery.max()) - FIRST_DAY :], axis=1) >= 0).all()
    assert len(fleet.day) > 60


@pytest.mark.parametrize(
    ("kind", "possible"),
    [("swapped", {"132", "213"}), ("lost", {"23", "13", "12"}), ("doubled", {"1123", "1223", "1233"})],
)
def test_a_typo_is_one_slip_of_the_hand(kind, possible):
    rng = np.random.default_rng(1)
    assert {mistyped("123", kind, rng) for _ in range(60)} == possible


def test_a_wrong_digit_is_another_one():
    rng = np.random.default_rng(1)
    assert all(sum(a != b for a, b in zip(mistyped("123", "wrong", rng), "123", strict=True)) == 1 for _ in range(60))
