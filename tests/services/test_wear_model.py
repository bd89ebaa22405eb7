"""The algebra of wear against a dense multivariate normal; order, batches and lives."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.wear_crossing import crossings
from services.wear_gauge import learn
from services.wear_model import SHAPES, Point, Values, series_of

CHAIN = Values((0.0, 0.11), (0.02, 0.045), 0.012, 0.025)
ELASTOMER = Values((0.0, 3.0), (1.2, 1.2), 0.3, 1.5)
LEAK = Values((0.1,), (0.06,), 0.006, 0.015)
BATTERY = Values((4.0, 2.0), (1.6, 0.8), 0.3, 1.5)
STRAIGHT = SHAPES["straight"]
FIRM = 1e9  # no reading is laid aside

measured = st.lists(
    st.tuples(st.floats(0.1, 9.0), st.floats(-0.1, 1.0)),
    min_size=1,
    max_size=6,
    unique_by=lambda pair: round(pair[0], 2),
)


def exactly(pairs, life=0):
    return [Point(u, y, y, life=life) for u, y in pairs]


def dense(mean_of, covariance_of, u, y, noise, at):
    """Mean and variance at `at`, the textbook conditional of a joint normal vector (numpy)."""
    every = np.r_[u, at]
    joint = np.array([[covariance_of(a, b) for b in every] for a in every])
    joint[np.arange(len(u)), np.arange(len(u))] += noise**2
    known, cross = joint[: len(u), : len(u)], joint[len(u) :, : len(u)]
    mean = mean_of(np.asarray(at)) + cross @ np.linalg.solve(known, y - mean_of(np.asarray(u)))
    return mean, np.diag(joint[len(u) :, len(u) :] - cross @ np.linalg.solve(known, cross.T))


@given(measured)
@settings(deadline=None, max_examples=50)
def test_a_chain_is_the_conditional_of_a_multivariate_normal(pairs):
    u, y = (np.array(column) for column in zip(*pairs, strict=True))
    at = np.array([0.0, 0.7, 3.0, 12.0])
    mean, variance = dense(
        lambda x: 0.11 * x, lambda a, b: 0.02**2 + 0.045**2 * a * b + 0.012**2 * min(a, b), u, y, 0.025, at
    )
    ours, sd = learn(STRAIGHT, CHAIN, series_of([exactly(pairs)]), gate=FIRM).wear(at[None])
    assert ours[0] == pytest.approx(mean, abs=1e-9)
    assert sd[0] ** 2 == pytest.approx(variance, abs=1e-9)


@given(measured)
@settings(deadline=None, max_examples=50)
def test_an_elastomer_is_the_conditional_of_a_multivariate_normal(pairs):
    u, y = (np.array(column) for column in zip(*pairs, strict=True))
    at = np.array([0.0, 2.0, 8.0])

    def log(x):
        return np.log(1 + np.asarray(x) / 0.5)

    mean, variance = dense(
        lambda x: 3.0 * log(x),
        lambda a, b: 1.2**2 + 1.2**2 * log(a) * log(b) + 0.3**2 * min(log(a), log(b)), u, 10 * y, 1.5, at,
    )  # fmt: skip
    ours, sd = learn(
        SHAPES["logarithm"], ELASTOMER, series_of([exactly([(a, 10 * b) for a, b in pairs])]), gate=FIRM
    ).wear(at[None])
    assert ours[0] == pytest.approx(mean, abs=1e-8)
    assert sd[0] ** 2 == pytest.approx(variance, abs=1e-8)


def test_a_battery_wears_by_root_of_years_and_by_cycles():
    points = [Point(1.0, 6.0, 6.0, second=0.5), Point(4.0, 11.0, 11.0, second=3.5)]
    u, cycles = (
        np.array([1.0, 4.0, 2.0, 6.0]),
        np.array([0.5, 3.5, 1.5, 3.5 + 2 * 0.8]),
    )  # straight between, then .8 a year
    phi = np.stack([np.sqrt(u), cycles], axis=1)
    joint = (phi * np.array([1.6, 0.8]) ** 2) @ phi.T + 0.3**2 * np.minimum.outer(u, u)
    known, cross = joint[:2, :2] + 1.5**2 * np.eye(2), joint[2:, :2]
    expected = phi @ np.array([4.0, 2.0])
    mean = expected[2:] + cross @ np.linalg.solve(known, np.array([6.0, 11.0]) - expected[:2])
    ours, _ = learn(SHAPES["battery"], BATTERY, series_of([points], [0.8])).wear(u[None, 2:])
    assert ours[0] == pytest.approx(mean, abs=1e-10)


def test_earlier_lives_teach_the_rate_but_not_the_level():
    # three fillings that lost .06 in 60 days each, none read since the last: the rate is learnt, wear at 0 is nought
    points = [Point(0.6, 0.09, 0.09, life=life) for life in (1, 2, 3)]
    u = np.array([0.6, 0.6, 0.6])
    joint = 0.06**2 * np.outer(u, u) + np.diag(0.006**2 * u + 0.015**2)  # the random part begins anew with each filling
    slope = 0.1 + 0.06**2 * u @ np.linalg.solve(joint, np.full(3, 0.09) - 0.1 * u)
    learnt = learn(SHAPES["leak"], LEAK, series_of([points]))
    mean, sd = learnt.wear(np.array([[0.0, 1.0]]))
    assert mean[0] == pytest.approx([0.0, slope], abs=1e-12)
    assert sd[0, 0] == 0
    assert learnt.last_u[0] == 0


@given(measured, st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=40)
def test_the_order_of_measurements_changes_nothing(pairs, random):
    mixed = list(pairs)
    random.shuffle(mixed)
    one, other = (learn(STRAIGHT, CHAIN, series_of([exactly(some)])) for some in (pairs, mixed))
    assert (crossings(one, 0.75, (0.1, 0.5, 0.9), 60.0) == crossings(other, 0.75, (0.1, 0.5, 0.9), 60.0)).all()
    laid_aside = [{pair for pair, out in zip(some, learnt.dropped[0], strict=True) if out}
                  for some, learnt in ((pairs, one), (mixed, other))]  # fmt: skip
    assert laid_aside[0] == laid_aside[1]


@given(st.lists(measured, min_size=2, max_size=4), st.booleans())
@settings(deadline=None, max_examples=30)
def test_many_parts_at_once_are_each_part_alone(parts, still_good):
    levels = (0.1, 0.5, 0.9)
    gauged = [[*exactly(pairs), Point(9.5, 0.5, 0.75)] for pairs in parts]
    for batch in (gauged, [exactly(pairs) for pairs in parts]):
        together = crossings(learn(STRAIGHT, CHAIN, series_of(batch)), 0.75, levels, 60.0, still_good=still_good)
        for row, points in enumerate(batch):
            alone = crossings(learn(STRAIGHT, CHAIN, series_of([points])), 0.75, levels, 60.0, still_good=still_good)
            assert together[row] == pytest.approx(alone[0], rel=1e-12)


def test_values_survive_json():
    kept = Values((0.0, 0.1), (0.02, 0.05), 0.01, 0.03, parts=41, source="fitted to 41 parts")
    assert Values.from_dict(json.loads(json.dumps(kept.as_dict()))) == kept


def test_a_part_without_measurements_is_its_fleet():
    mean, sd = learn(STRAIGHT, CHAIN, series_of([[]])).wear(np.array([[4.0]]))
    assert mean[0, 0] == pytest.approx(0.44)
    assert sd[0, 0] ** 2 == pytest.approx(0.02**2 + 16 * 0.045**2 + 4 * 0.012**2)


def test_a_reading_of_its_own_accuracy_counts_by_it():
    coarse = learn(STRAIGHT, CHAIN, series_of([[Point(3.0, 0.5, 0.5, noise=0.08)]])).wear(np.array([[3.0]]))[1]
    fine = learn(STRAIGHT, CHAIN, series_of([[Point(3.0, 0.5, 0.5, noise=0.015)]])).wear(np.array([[3.0]]))[1]
    assert fine[0, 0] < 0.015 < coarse[0, 0] < 0.08


def test_a_part_taken_twice_is_told_as_twice_the_part():
    parts = [[Point(1.0, 0.2, 0.2)], [Point(1.0, 0.1, 0.1), Point(2.0, 0.3, 0.3)]]
    learnt = learn(SHAPES["straight"], Values((0.0, 0.1), (0.02, 0.05), 0.01, 0.02), series_of(parts))
    u = np.array([[1.5, 3.0]])
    mean, sd = learnt.take([1, 1]).wear(np.repeat(u, 2, axis=0))
    own_mean, own_sd = learnt.wear(np.repeat(u, 2, axis=0))
    assert mean.tolist() == [own_mean[1].tolist()] * 2
    assert sd.tolist() == [own_sd[1].tolist()] * 2
