"""The likeliest path through a machine's readings, and how likely every label is over all paths.

Max-product (Viterbi) for the labels, sum-product (forward and backward) for the chances; M machines with N readings each at
once. Source: the method's prototype (forecast notes); both algorithms are textbook dynamic programming.
"""

from dataclasses import dataclass

import numpy as np

from services.timeline_costs import EARLIER, LATER, LOOK_BACK, OUTLIER, Edges

_LABELS = 3
_PAD = LOOK_BACK - 1
_INTO = [np.flatnonzero(label == LATER) for label in range(_LABELS)]
_OUT_OF = [np.flatnonzero(label == EARLIER) for label in range(_LABELS)]


@dataclass(frozen=True)
class Path:
    """label (N + 1, M), OUTLIER where the path does not stop; before (N + 1, M): the row it came from; reset (N + 1, M)."""

    label: np.ndarray
    before: np.ndarray
    reset: np.ndarray


@dataclass(frozen=True)
class Chances:
    """labels (3, N, M): the chance of each label of each reading; reset (N, M): that the display began anew before it."""

    labels: np.ndarray
    reset: np.ndarray


def likeliest_path(edges: Edges) -> Path:
    """Return the path of the largest weight."""
    best = np.maximum(edges.ridden, edges.reset)
    count, machines = len(best), best.shape[-1]
    score = np.full((count + 1 + _PAD, _LABELS, machines), -np.inf)
    score[_PAD, 0] = 0.0
    came = np.zeros((count + 1, _LABELS, machines), dtype=np.int64)
    for row in range(1, count + 1):
        steps = score[row - 1 : row + _PAD][::-1][:, EARLIER] + best[row - 1]
        for label, pairs in enumerate(_INTO):
            options = steps[:, pairs].reshape(-1, machines)
            pick = options.argmax(axis=0)
            came[row, label] = pick
            score[row + _PAD, label] = np.take_along_axis(options, pick[None], axis=0)[0]
    end = (score[_PAD:] + _tail(edges)).reshape(-1, machines).argmax(axis=0)
    return _trace(edges, came, *np.divmod(end, _LABELS))


def _tail(edges: Edges) -> np.ndarray:
    """(N + 1, 1, M): skipping everything after a reading."""
    return (edges.skip[-1] - edges.skip)[:, None]


def _trace(edges: Edges, came: np.ndarray, row: np.ndarray, label: np.ndarray) -> Path:
    """Walk back from the last stop of each machine."""
    shape = edges.skip.shape
    labels, before, reset = np.full(shape, OUTLIER), np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=bool)
    labels[0] = 0
    who = np.flatnonzero(row > 0)
    row, label = row[who], label[who]
    pairs_into = np.full((_LABELS, max(map(len, _INTO))), -1)
    for at, pairs in enumerate(_INTO):
        pairs_into[at, : len(pairs)] = pairs
    width = np.array([len(pairs) for pairs in _INTO])
    while len(who):
        back, place = np.divmod(came[row, label, who], width[label])
        pair = pairs_into[label, place]
        labels[row, who] = label
        reset[row, who] = edges.reset[row - 1, back, pair, who] > edges.ridden[row - 1, back, pair, who]
        earlier = row - 1 - back
        before[row, who] = earlier
        on = earlier > 0
        who, row, label = who[on], earlier[on], EARLIER[pair[on]]
    return Path(labels, before, reset)


def _log_sum(terms: np.ndarray) -> np.ndarray:
    """log of the sum of exp over the first axis; its largest term is finite."""
    top = terms.max(axis=0)
    return top + np.log(np.exp(terms - top).sum(axis=0))


def chances(edges: Edges) -> Chances:
    """Return how likely each label and a reset are at each reading, over all paths."""
    both = np.logaddexp(edges.ridden, edges.reset)
    count, machines = len(both), both.shape[-1]
    ahead = np.full((count + 1 + _PAD, _LABELS, machines), -np.inf)
    ahead[_PAD, 0] = 0.0
    for row in range(1, count + 1):
        steps = ahead[row - 1 : row + _PAD][::-1][:, EARLIER] + both[row - 1]
        for label, pairs in enumerate(_INTO):
            ahead[row + _PAD, label] = _log_sum(steps[:, pairs].reshape(-1, machines))
    behind = np.concatenate([np.full((_PAD, _LABELS, machines), -np.inf), np.repeat(_tail(edges), _LABELS, axis=1)])
    for row in range(count, 0, -1):
        steps = both[row - 1] + behind[row + _PAD][LATER]
        window = behind[row - 1 : row + _PAD][::-1]
        for label, pairs in enumerate(_OUT_OF):
            out = _log_sum(np.moveaxis(steps[:, pairs], 1, 0)) if row >= LOOK_BACK else _safe_log_sum(steps[:, pairs])
            window[:, label] = np.logaddexp(window[:, label], out)
    total = behind[_PAD, 0]
    labels = np.exp(ahead[_PAD + 1 :] + behind[_PAD + 1 :] - total).transpose(1, 0, 2)
    return Chances(np.minimum(labels, 1.0), _reset_chance(edges, ahead, behind, total))


def _safe_log_sum(steps: np.ndarray) -> np.ndarray:
    """As _log_sum over the pairs, where some steps lead from before the delivery."""
    top = np.maximum(steps.max(axis=1), -1e300)
    with np.errstate(divide="ignore"):
        return top + np.log(np.exp(steps - top[:, None]).sum(axis=1))


def _reset_chance(edges: Edges, ahead: np.ndarray, behind: np.ndarray, total: np.ndarray) -> np.ndarray:
    chance = np.zeros(edges.skip[1:].shape)
    for row in range(1, len(chance) + 1):
        window = ahead[row - 1 : row + _PAD][::-1][:, EARLIER]
        steps = window + edges.reset[row - 1] + behind[row + _PAD][LATER]
        chance[row - 1] = np.exp(steps - total).sum(axis=(0, 1))
    return np.minimum(chance, 1.0)
