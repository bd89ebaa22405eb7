"""Recalibrated levels: which level to ask the model for, so that a share p of true dates falls before its answer.

Distributional conformal prediction: the fleet's own past levels (1 - PIT of each next stretch) in order. They differ by how
much is known of the rider (stretches folded in: 0, 1-2, 3 and more) and by how far ahead one looks (season-years); between
the middles of the four lengths they are interpolated, so that no date jumps.
"""

from functools import lru_cache

import numpy as np

ENOUGH = 200
# Levels are kept for p = .01, .02 ... .99; nought and one stand for themselves.
GRID = tuple(round(0.01 * k, 2) for k in range(1, 100))
KNOWN_FROM = (1, 3)
LENGTH_FROM = (0.1, 0.3, 1.0)
_MIDDLES = np.log([0.05, 0.175, 0.55, 1.7])
_KINDS, _LENGTHS = len(KNOWN_FROM) + 1, len(LENGTH_FROM) + 1
_NODES = np.concatenate([[0.0], GRID, [1.0]])
_LEAST = 1e-9

Row = tuple[float, ...]
Levels = tuple[Row, ...]
IDENTITY: Levels = (GRID,) * (_KINDS * _LENGTHS)


def model_level(
    levels: Levels, level: float, stretches: np.ndarray | float, exposure: np.ndarray | float
) -> np.ndarray:
    """Return the level to ask the model for, by what is known and how far ahead (season-years, expected)."""
    table = _table(levels)
    place = level * (len(_NODES) - 1)
    node = min(int(place), len(_NODES) - 2)
    column = table[:, node] + (place - node) * (table[:, node + 1] - table[:, node])
    row, share = _between(stretches, exposure)
    return (1.0 - share) * column[row] + share * column[row + 1]


def shown_level(
    levels: Levels, asked: np.ndarray | float, stretches: np.ndarray | float, exposure: np.ndarray | float
) -> np.ndarray:
    """Return the share of true dates that the model's level `asked` stands for: undoes model_level."""
    table = _table(levels)
    row, share = _between(stretches, exposure)
    asked, row, share = np.broadcast_arrays(np.asarray(asked, dtype=float), row, share)

    def level_at(node: np.ndarray) -> np.ndarray:
        return (1.0 - share) * table[row, node] + share * table[row + 1, node]

    low, high = np.zeros(asked.shape, dtype=np.int64), np.full(asked.shape, len(_NODES) - 1)
    for _ in range(7):  # 2^7 > 100 steps of the grid
        middle = (low + high) // 2
        above = level_at(middle) > asked
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    low = np.minimum(low, len(_NODES) - 2)
    begun, ended = level_at(low), level_at(low + 1)
    within = np.clip((asked - begun) / np.maximum(ended - begun, _LEAST), 0.0, 1.0)
    return (low + within) / (len(_NODES) - 1)


def fit_levels(past: np.ndarray, stretches: np.ndarray, exposure: np.ndarray) -> Levels:
    """Return the levels from n past ones, each with the stretches known before it and its exposure (season-years).

    A class of fewer than 200 takes its row over all lengths, then that of all stretches, then p itself.
    """
    kind = np.searchsorted(KNOWN_FROM, stretches, side="right")
    length = np.searchsorted(LENGTH_FROM, exposure, side="right")
    everything = ordered_levels(past, GRID)
    rows = []
    for one_kind in range(_KINDS):
        of_kind = ordered_levels(past[kind == one_kind], everything)
        for one_length in range(_LENGTHS):
            rows.append(ordered_levels(past[(kind == one_kind) & (length == one_length)], of_kind))
    return tuple(rows)


def ordered_levels(past: np.ndarray, otherwise: Row) -> Row:
    """Return for each p of GRID the ceil((n + 1) p)-th smallest of n past levels (split conformal); few: `otherwise`."""
    count = len(past)
    if count < ENOUGH:
        return otherwise
    place = np.ceil((count + 1) * np.asarray(GRID) - 1e-9).astype(int)
    return tuple(float(u) for u in np.sort(past)[np.clip(place, 1, count) - 1])


@lru_cache(maxsize=16)
def _table(levels: Levels) -> np.ndarray:
    inner = np.asarray(levels)
    ends = np.zeros((len(inner), 1))
    return np.concatenate([ends, inner, ends + 1.0], axis=1)


def _between(stretches: np.ndarray | float, exposure: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """(row of the length below, share of the one above) for each machine."""
    kind = np.searchsorted(KNOWN_FROM, stretches, side="right")
    place = np.interp(np.log(np.maximum(exposure, _LEAST)), _MIDDLES, np.arange(_LENGTHS))
    below = np.minimum(place.astype(np.int64), _LENGTHS - 2)
    return kind * _LENGTHS + below, place - below
