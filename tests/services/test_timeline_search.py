"""The path search against every path there is: 4 labels to the power of n readings, counted one by one."""

from itertools import pairwise, product

import numpy as np
import pytest

from services.fleet_rates import SHIPPED
from services.timeline_costs import EARLIER, LATER, OUTLIER, edges_between
from services.timeline_rows import Machines, Readings, Swaps, nodes_of, rows_of
from services.timeline_search import chances, likeliest_path

NO_SWAPS = Swaps(np.zeros(0, int), np.zeros(0), np.zeros(0), np.zeros(0))
ZERO = 739_000.0


def edges_of(days, km):
    count = len(days)
    readings = Readings(
        np.zeros(count, int),
        ZERO + np.array(days, float),
        np.array(km, float),
        np.zeros(count, bool),
        np.full(count, -1),
    )
    machines = Machines(np.array([ZERO]), np.zeros(1), np.array([False]))
    nodes = nodes_of(rows_of(readings, NO_SWAPS, machines, SHIPPED), np.array([0]), machines, SHIPPED)
    return edges_between(nodes, np.array([SHIPPED.mu]), np.array([SHIPPED.tau2]), SHIPPED)


def every_path(edges):
    """(labels, weight ridden or reset at each stop at its best, summed weight, which stops reset) of all paths."""
    count = len(edges.ridden)
    pair = {(a, b): at for at, (a, b) in enumerate(zip(EARLIER, LATER, strict=True))}
    reset = np.full(edges.ridden.shape, -np.inf)
    reset[edges.reset_at] = edges.reset
    for labels in product(range(4), repeat=count):
        stops = [(0, 0)] + [(row + 1, label) for row, label in enumerate(labels) if label != OUTLIER]
        steps = list(pairwise(stops))
        if any((a, b) not in pair or j - i > 5 for (i, a), (j, b) in steps):
            continue
        at = [(j - 1, j - i - 1, pair[a, b], 0) for (i, a), (j, b) in steps]
        tail = float(edges.skip[-1, 0] - edges.skip[stops[-1][0], 0])
        yield (
            labels,
            [(j, edges.ridden[place], reset[place]) for ((_, _), (j, _)), place in zip(steps, at, strict=True)],
            tail,
        )


CASES = [
    ([100, 200, 240, 270], [600, 1800, 2400, 150]),
    ([100, 200, 240, 270], [600, 1800, 3860, 2900]),
    ([0, 0, 30, 31], [10, 16, 100, 100]),
    ([100, 130, 131, 300, 420], [900, 90, 95, 24_000, 700]),
    ([5, 400, 401, 402, 403, 404], [5, 90_000, 80_000, 70_000, 60_000, 2_000]),
]


@pytest.mark.parametrize(("days", "km"), CASES)
def test_the_likeliest_path_is_the_heaviest_of_all(days, km):
    edges = edges_of(days, km)
    weights = {
        labels: sum(max(ridden, reset) for _, ridden, reset in steps) + tail
        for labels, steps, tail in every_path(edges)
    }
    assert tuple(likeliest_path(edges).label[1:, 0]) == max(weights, key=weights.get)


@pytest.mark.parametrize(("days", "km"), CASES)
def test_the_chances_are_those_summed_over_all_paths(days, km):
    edges = edges_of(days, km)
    total, by_label, by_reset = 0.0, np.zeros((3, len(days))), np.zeros(len(days))
    for labels, steps, tail in every_path(edges):
        weight = np.exp(sum(np.logaddexp(ridden, reset) for _, ridden, reset in steps) + tail)
        total += weight
        for row, label in enumerate(labels):
            if label != OUTLIER:
                by_label[label, row] += weight
        for row, ridden, reset in steps:
            by_reset[row - 1] += weight * np.exp(reset - np.logaddexp(ridden, reset))
    found = chances(edges)
    assert found.labels[:, :, 0] == pytest.approx(by_label / total, rel=1e-9, abs=1e-12)
    assert found.reset[:, 0] == pytest.approx(by_reset / total, rel=1e-9, abs=1e-12)
