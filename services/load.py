"""How much bench work the coming weeks bring: due ranges of all tasks -> expected minutes a week, with a range.

A task's chance to fall due in a week comes from its 10, 50 and 90 % dates: straight lines between them, a tenth spread over
half the neighbouring span at either end. Tasks of one trike run by the same riding, so their doubts add up in full; those of
different trikes are independent.
"""

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from services.intervals import covered_tasks
from services.kinds import includes_map, task

LEVELS = np.array([0.0, 0.1, 0.5, 0.9, 1.0])
_NEVER = 1e9  # a day that never comes
TOGETHER_DAYS = 60.0  # a smaller task is done with the larger one that falls due so near (own choice)
_Z90 = 1.2815516  # normal quantile of .9


@dataclass(frozen=True)
class Load:
    """Minutes expected in each week (weeks,), their 10 and 90 % limits, and the backlog: what is due already (minutes)."""

    expected: np.ndarray
    low: np.ndarray
    high: np.ndarray
    backlog: float


def chance_before(dates: np.ndarray, days: np.ndarray) -> np.ndarray:
    """Return (n, k): the probability that each task is due before each of `days` (k,).

    dates (n, 3): 10, 50 and 90 % dates, in order; inf: beyond the horizon.
    """
    low, middle, high = np.minimum(dates, _NEVER).T
    first = low - np.where(middle < _NEVER, middle - low, 0.0) / 2
    last = np.where(high < _NEVER, high + (high - middle) / 2, _NEVER)
    knots = np.stack([first, low, middle, high, last], axis=1)
    asked = np.asarray(days, dtype=float)[None, :]
    chance = np.zeros((len(knots), asked.shape[1]))
    for k in range(1, len(LEVELS)):
        begun, ended = knots[:, k - 1, None], knots[:, k, None]
        span = np.where(ended > begun, ended - begun, 1.0)
        within = np.where(ended < _NEVER, np.clip((asked - begun) / span, 0.0, 1.0), 0.0)
        within = np.where(asked >= ended, 1.0, np.where(asked <= begun, 0.0, within))
        chance += (LEVELS[k] - LEVELS[k - 1]) * within
    return chance


def minutes_of(tasks: Sequence[str], trike: Sequence[Hashable], due: Sequence[float]) -> np.ndarray:
    """Return the bench minutes (n,) of each due task: none where a larger one of the same trike includes it.

    tasks: their codes; trike: any labels; due (n,): middle dates in days, inf: beyond the horizon. The larger one must be due
    within TOGETHER_DAYS of it: then both are done at one visit, and the smaller takes no time of its own.
    """
    includes = includes_map()
    inside = {larger: set(covered_tasks([larger], includes)) for larger in includes}
    larger_ones: dict[Hashable, list[tuple[str, float]]] = defaultdict(list)
    for code, label, day in zip(tasks, trike, due, strict=True):
        if code in inside:
            larger_ones[label].append((code, day))
    alone = [
        not any(
            code in inside[larger] and abs(day - then) <= TOGETHER_DAYS for larger, then in larger_ones.get(label, ())
        )
        for code, label, day in zip(tasks, trike, due, strict=True)
    ]
    return np.array([task(code).minutes if own else 0 for code, own in zip(tasks, alone, strict=True)], dtype=float)


def weekly_load(dates: np.ndarray, minutes: np.ndarray, trike: np.ndarray, today: float, weeks: int = 12) -> Load:
    """Return the load of the weeks from `today` on. dates (n, 3) as above, minutes (n,), trike (n,) any labels."""
    if not len(minutes):
        nothing = np.zeros(weeks)
        return Load(nothing, nothing, nothing, 0.0)
    edges = today + 7.0 * np.arange(weeks + 1)
    before = chance_before(np.asarray(dates, dtype=float), edges)
    share = np.diff(before, axis=1)
    expected = minutes @ share
    doubt = minutes[:, None] * np.sqrt(share * (1.0 - share))
    _, row = np.unique(trike, return_inverse=True)
    by_trike = np.zeros((row.max() + 1, weeks))
    np.add.at(by_trike, row, doubt)
    spread = _Z90 * np.sqrt((by_trike**2).sum(axis=0))
    return Load(expected, np.maximum(expected - spread, 0.0), expected + spread, float(minutes @ before[:, 0]))
