"""Who is under watch at an age: sums over the lives, or machines, that begin or end before it. Sorted once, n log n."""

from typing import Literal

import numpy as np


def summed_below(
    key: np.ndarray, weight: np.ndarray, ages: np.ndarray, side: Literal["left", "right"] = "left"
) -> np.ndarray:
    """Return (ages,) the sum of the weights (n,) whose key (n,) lies below each age; side "right": at it or below."""
    order = np.argsort(key)
    return np.append(0.0, np.cumsum(weight[order]))[np.searchsorted(key[order], ages, side=side)]


def watched_at(start: np.ndarray, end: np.ndarray, count: np.ndarray, ages: np.ndarray) -> np.ndarray:
    """Return (ages,) how many are under watch just before each age: start < age <= end. count (n,): how many share a row."""
    return summed_below(start, count, ages) - summed_below(end, count, ages)
