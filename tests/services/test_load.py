"""Bench minutes of the coming weeks, against counting many simulated futures."""

import numpy as np
import pytest

from services.kinds import task
from services.load import TOGETHER_DAYS, chance_before, minutes_of, weekly_load


def test_a_range_of_dates_gives_its_own_levels_back():
    dates = np.array([[100.0, 120.0, 160.0]])
    assert chance_before(dates, np.array([90.0, 100.0, 110.0, 120.0, 140.0, 160.0, 180.0]))[0] == pytest.approx(
        [0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0]
    )


def test_a_certain_date_is_a_step():
    assert list(chance_before(np.array([[50.0, 50.0, 50.0]]), np.array([49.9, 50.0, 50.1]))[0]) == pytest.approx(
        [0.0, 1.0, 1.0]
    )


def test_what_lies_beyond_the_horizon_never_comes():
    far = np.array([[100.0, 120.0, np.inf], [100.0, np.inf, np.inf], [np.inf, np.inf, np.inf]])
    chance = chance_before(far, np.array([0.0, 100.0, 120.0, 10_000.0]))
    assert chance[0] == pytest.approx([0.0, 0.1, 0.5, 0.5])
    assert chance[1] == pytest.approx([0.0, 0.1, 0.1, 0.1])
    assert chance[2] == pytest.approx([0.0, 0.0, 0.0, 0.0])


def test_nothing_due_is_no_load():
    load = weekly_load(np.empty((0, 3)), np.empty(0), np.empty(0), 0.0)
    assert load.expected.sum() == load.high.sum() == load.backlog == 0.0


def test_what_is_due_already_is_backlog_and_counts_in_no_week():
    load = weekly_load(
        np.array([[10.0, 10.0, 10.0], [30.0, 30.0, 30.0]]), np.array([40.0, 25.0]), np.array([1, 2]), 20.0, 3
    )
    assert load.backlog == 40.0
    assert list(load.expected) == [0.0, 25.0, 0.0]
    assert list(load.low) == list(load.high) == [0.0, 25.0, 0.0]


def test_expected_minutes_and_range_agree_with_counting_simulated_futures():
    """Every trike draws one level of riding; each of its tasks falls due at that level of its own dates."""
    rng = np.random.default_rng(5)
    trikes, tasks, futures = 150, 4, 4_000
    middle = rng.uniform(0, 120, (trikes, tasks))
    dates = np.stack(
        [middle - rng.uniform(5, 20, middle.shape), middle, middle + rng.uniform(10, 60, middle.shape)], axis=-1
    )
    minutes = rng.choice([15.0, 30.0, 60.0], middle.shape)
    trike = np.repeat(np.arange(trikes), tasks)
    load = weekly_load(dates.reshape(-1, 3), minutes.ravel(), trike, 0.0, 12)
    level = rng.uniform(size=(futures, trikes, 1))
    low, mid, high = (dates[..., k] for k in range(3))
    day = np.empty((futures, trikes, tasks))
    for i in range(trikes):
        for j in range(tasks):
            knots = [low[i, j] - (mid[i, j] - low[i, j]) / 2, low[i, j], mid[i, j], high[i, j],
                     high[i, j] + (high[i, j] - mid[i, j]) / 2]  # fmt: skip
            day[:, i, j] = np.interp(level[:, i, 0], [0, 0.1, 0.5, 0.9, 1], knots)
    week = np.floor(day / 7)
    counted = np.stack([((week == k) * minutes).sum(axis=(1, 2)) for k in range(12)], axis=1)
    np.testing.assert_allclose(load.expected, counted.mean(axis=0), rtol=0.05)
    inside = ((counted >= load.low) & (counted <= load.high)).mean(axis=0)
    assert (
        inside.min() >= 0.75
    )  # an 80 % range; a trike's tasks rarely fall into the same week, so it is on the wide side
    assert inside.mean() <= 0.95


def test_what_comes_with_a_larger_service_takes_no_time_of_its_own():
    codes = ["general_service", "brakes_check", "brakes_check", "hub_oil_change", "brakes_check"]
    found = minutes_of(codes, [1, 1, 1, 1, 2], [100.0, 100.0 + TOGETHER_DAYS, 101.0 + TOGETHER_DAYS, 100.0, 100.0])
    own = [float(task(code).minutes) for code in codes]
    assert list(found) == [own[0], 0.0, own[2], own[3], own[4]]


def test_work_beyond_the_horizon_is_not_taken_for_near():
    found = minutes_of(["general_service", "brakes_check"], [1, 1], [np.inf, np.inf])
    assert found[1] == task("brakes_check").minutes


def test_without_work_there_are_no_minutes():
    assert len(minutes_of([], [], [])) == 0
