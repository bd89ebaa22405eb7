"""The likeliest path through a machine's readings, and how likely every label is over all paths.

Max-product (Viterbi) for the labels, sum-product (forward and backward) for the chances; M machines with N readings each at
once. Both algorithms are textbook dynamic programming; their use here is the method's prototype (forecast notes).
"""

from dataclasses import dataclass

import numpy as np

from services.timeline_costs import EARLIER, LATER, LOOK_BACK, OUTLIER, Edges

_LABELS = 3
_PAD = LOOK_BACK - 1  # rows before the delivery, so that every window of LOOK_BACK rows exists
_INTO = np.searchsorted(LATER, np.arange(_LABELS))  # LATER is sorted: where the pairs into each label begin
_BY_EARLIER = np.argsort(EARLIER, kind="stable")
_OUT_OF = np.searchsorted(EARLIER[_BY_EARLIER], np.arange(_LABELS))
_LOWEST = -1e300  # stands for minus infinity where a difference of two of them would be no number


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


def _begun(shape: tuple[int, ...]) -> np.ndarray:
    """(N + 1 + _PAD, 3, M): nothing but the delivery, as it is."""
    rows = np.full((shape[0] + 1 + _PAD, _LABELS, shape[-1]), -np.inf)
    rows[_PAD, 0] = 0.0
    return rows


def _steps_into(rows: np.ndarray, row: int, weights: np.ndarray) -> np.ndarray:
    """(LOOK_BACK, pairs, M): what each step into reading `row` adds up to."""
    return rows[row - 1 : row + _PAD][::-1][:, EARLIER] + weights[row - 1]


def likeliest_path(edges: Edges) -> Path:
    """Return the path of the largest weight."""
    best = edges.ridden.copy()
    best[edges.reset_at] = np.maximum(best[edges.reset_at], edges.reset)
    score = _begun(best.shape)
    for row in range(1, len(best) + 1):
        score[row + _PAD] = np.maximum.reduceat(_steps_into(score, row, best).max(axis=0), _INTO, axis=0)
    end = (score[_PAD:] + _tail(edges)).reshape(-1, best.shape[-1]).argmax(axis=0)
    return _trace(edges, best, score, *np.divmod(end, _LABELS))


def _tail(edges: Edges) -> np.ndarray:
    """(N + 1, 1, M): skipping everything after a reading."""
    return (edges.skip[-1] - edges.skip)[:, None]


def _trace(edges: Edges, best: np.ndarray, score: np.ndarray, row: np.ndarray, label: np.ndarray) -> Path:
    """Walk back from the last stop of each machine, taking the step that gave its score."""
    shape = edges.skip.shape
    labels, before, reset = np.full(shape, OUTLIER), np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=bool)
    labels[0] = 0
    who = np.flatnonzero(row > 0)
    row, label = row[who], label[who]
    back = np.arange(LOOK_BACK)[:, None, None]
    pairs = np.arange(len(LATER))[None, :, None]
    while len(who):
        steps = score[row - 1 - back + _PAD, EARLIER[:, None], who] + best[row - 1, back, pairs, who]
        steps[:, LATER[:, None] != label] = -np.inf
        pick = steps.reshape(-1, len(who)).argmax(axis=0)
        step, pair = np.divmod(pick, len(LATER))
        labels[row, who] = label
        reset[row, who] = best[row - 1, step, pair, who] > edges.ridden[row - 1, step, pair, who]
        earlier = row - 1 - step
        before[row, who] = earlier
        on = earlier > 0
        who, row, label = who[on], earlier[on], EARLIER[pair[on]]
    return Path(labels, before, reset)


def chances(edges: Edges) -> Chances:
    """Return how likely each label and a reset are at each reading, over all paths."""
    both = edges.ridden.copy()
    both[edges.reset_at] = np.logaddexp(both[edges.reset_at], edges.reset)
    ahead = _ahead(both)
    with np.errstate(divide="ignore"):  # steps that lead from before the delivery have the chance 0
        behind = _behind(both, _tail(edges))
    total = behind[_PAD, 0]
    labels = np.exp(ahead[_PAD + 1 :] + behind[_PAD + 1 :] - total).transpose(1, 0, 2)
    return Chances(np.minimum(labels, 1.0), _reset_chance(edges, ahead, behind, total))


def _ahead(both: np.ndarray) -> np.ndarray:
    """(N + 1 + _PAD, 3, M): log sum over all paths from the delivery to each label of each reading."""
    ahead = _begun(both.shape)
    for row in range(1, len(both) + 1):
        steps = _steps_into(ahead, row, both)
        top = np.maximum.reduceat(steps.max(axis=0), _INTO, axis=0)
        summed = np.add.reduceat(np.exp(steps - top[LATER]).sum(axis=0), _INTO, axis=0)
        ahead[row + _PAD] = top + np.log(summed)
    return ahead


def _behind(both: np.ndarray, tail: np.ndarray) -> np.ndarray:
    """(N + 1 + _PAD, 3, M): log sum over all paths from each label of each reading to the end."""
    behind = np.full((len(tail) + _PAD, _LABELS, tail.shape[-1]), -np.inf)
    behind[_PAD:] = tail
    for row in range(len(both), 0, -1):
        steps = (both[row - 1] + behind[row + _PAD][LATER])[:, _BY_EARLIER]
        top = np.maximum(np.maximum.reduceat(steps, _OUT_OF, axis=1), _LOWEST)
        summed = np.add.reduceat(np.exp(steps - top[:, EARLIER[_BY_EARLIER]]), _OUT_OF, axis=1)
        window = behind[row - 1 : row + _PAD][::-1]
        window[:] = np.logaddexp(window, top + np.log(summed))
    return behind


def _reset_chance(edges: Edges, ahead: np.ndarray, behind: np.ndarray, total: np.ndarray) -> np.ndarray:
    """(N, M): the share of all paths on which the display began anew in the step into each reading."""
    row, back, pair, machine = edges.reset_at
    steps = ahead[row - back + _PAD, EARLIER[pair], machine] + edges.reset
    steps += behind[row + 1 + _PAD, LATER[pair], machine] - total[machine]
    count, machines = len(edges.skip) - 1, len(total)
    summed = np.bincount(row * machines + machine, weights=np.exp(steps), minlength=count * machines)
    return np.minimum(summed.reshape(count, machines), 1.0)
