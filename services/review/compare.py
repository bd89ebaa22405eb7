"""Groups of one kind of part against the rest: the same ages, the same exposure, only the group differs.

Expected failures come from the common hazard of all at each age (Nelson-Aalen), so that an old batch is not called bad for
being old: given all failures, those of a group are at most as scattered as a binomial with its share of the expected ones
(each failure belongs to the group with its share of those then at risk; Mantel 1966 for the shares). The exact conditional
test of `groups.rate_p` on these is therefore on the safe side.
"""

from dataclasses import dataclass

import numpy as np

from services.life_data import groups as tests
from services.life_data.at_risk import watched_at
from services.life_data.few_failures import rate_limits
from services.life_data.lives import Array
from services.review.found import Comparison
from services.review.observed import PartLives

FEWEST_PARTS = 3  # a group of fewer pieces is not compared, only part of the rest (common practice, no source)
FEWEST_FAILURES = 2  # below it there is nothing to compare, whatever the group
CONFIDENCE = 0.90
_NOTHING = 1e-12  # expected failures of a group that never reached an age at which any failed


@dataclass(frozen=True)
class Pieces:
    """Pieces to be compared, arrays (n,): as in PartLives, with the failures each would have had if all failed alike."""

    failed: Array
    run: Array
    expected: Array
    machine: Array
    fitted: Array
    mode: Array


def pieces_of(parts: list[PartLives]) -> Pieces:
    """Return the pieces of these part types together, of one metric; expected by the hazard they have in common."""
    entry, end = _joined(parts, "entry"), _joined(parts, "middle")
    known, failed = _joined(parts, "known"), _joined(parts, "failed")
    run = _joined(parts, "run")
    expected = np.zeros(len(run))
    aged = known & (end > entry)
    expected[aged] = expected_alike(entry[aged], end[aged], failed[aged])
    apart = ~aged & (run > 0)
    if apart.any():  # nobody knows their age: alike by what they ran
        expected[apart] = failed[apart].sum() * run[apart] / run[apart].sum()
    return Pieces(failed, run, expected, _joined(parts, "machine"), _joined(parts, "fitted"), _joined(parts, "mode"))


def _joined(parts: list[PartLives], name: str) -> Array:
    return np.concatenate([getattr(part, name) for part in parts])


def expected_alike(entry: Array, end: Array, failed: Array) -> Array:
    """Return (n,) the failures each life would have had by the hazard of all; their sum is the number of failures."""
    ages = np.unique(end[failed])
    if not len(ages):
        return np.zeros(len(end))
    counts = np.bincount(np.searchsorted(ages, end[failed]), minlength=len(ages))
    hazard = np.append(0.0, np.cumsum(counts / watched_at(entry, end, np.ones(len(end)), ages)))
    return hazard[np.searchsorted(ages, end, side="right")] - hazard[np.searchsorted(ages, entry, side="right")]


def compared(pieces: Pieces, dimension: str, label: Array) -> list[Comparison]:
    """Return each group of three pieces or more against all others; none without two such groups or two failures.

    label (n,): the group of each piece, '' where nobody knows; those are part of the rest. Which groups there are is never
    chosen by their failures.
    """
    names, group, sizes = np.unique(label, return_inverse=True, return_counts=True)
    told = np.flatnonzero((names != "") & (sizes >= FEWEST_PARTS))
    if len(told) < 2 or pieces.failed.sum() < FEWEST_FAILURES:
        return []
    owns = [group == row for row in told]
    failed, expected, run = (
        np.array([column[own].sum() for own in owns]) for column in (pieces.failed, pieces.expected, pieces.run)
    )
    rest, rest_expected = pieces.failed.sum() - failed, pieces.expected.sum() - expected
    expected, rest_expected = np.maximum(expected, _NOTHING), np.maximum(rest_expected, _NOTHING)
    ran = np.maximum(run, _NOTHING)
    low, high = rate_limits(failed, ran, confidence=CONFIDENCE)
    p = tests.rate_p(failed, expected, rest, rest_expected)
    on_one = [most_on_one(pieces.machine[own & pieces.failed]) for own in owns]
    without = _without_worst(pieces, owns, on_one, failed, expected, rest, rest_expected)
    rates = np.stack([run, failed / ran, low, high, p], axis=1)
    return [
        _comparison(
            pieces, dimension, str(names[told[at]]), own, on_one[at], without[at], rates[at].tolist(),
            (int(failed[at]), float(expected[at]), int(rest[at]), float(rest_expected[at])),
        )
        for at, own in enumerate(owns)
    ]  # fmt: skip


def _comparison(
    pieces: Pieces, dimension: str, name: str, own: Array, on_one: tuple[int, int, int | None], without: float | None,
    rates: list[float], counts: tuple[int, float, int, float],
) -> Comparison:  # fmt: skip
    """One row; rates: run, rate, its limits and p; counts: failed and expected of the group, then of the rest."""
    run, rate, low, high, p = rates
    ratio_low, ratio_high = tests.ratio_limits(*counts, CONFIDENCE)
    return Comparison(
        dimension, name, counts[0], int(own.sum()), run, counts[1], counts[2], int((~own).sum()),
        float(pieces.run.sum() - run), counts[3], rate, low, high, _ratio(*counts), ratio_low,
        float(ratio_high) if np.isfinite(ratio_high) else None, p, machines=on_one[0], most_on_one=on_one[1],
        worst_machine=on_one[2], p_without=without, carried=int(pieces.fitted[own].sum()),
        mode=common_mode(pieces.mode[own & pieces.failed]),
    )  # fmt: skip


def _ratio(failed: int, expected: float, rest: int, rest_expected: float) -> float | None:
    return (failed / expected) / (rest / rest_expected) if rest else None


def _without_worst(
    pieces: Pieces, owns: list[Array], on_one: list[tuple[int, int, int | None]], failed: Array, expected: Array,
    rest: Array, rest_expected: Array,
) -> list[float | None]:  # fmt: skip
    """p of each group without the machine that has most of its failures; None where no machine has two."""
    asked = [at for at, (_, most, _) in enumerate(on_one) if most > 1]
    if not asked:
        return [None] * len(owns)
    gone = [float(pieces.expected[owns[at] & (pieces.machine == on_one[at][2])].sum()) for at in asked]
    left = np.array([failed[at] - on_one[at][1] for at in asked])
    p = tests.rate_p(left, np.maximum(expected[asked] - gone, _NOTHING), rest[asked], rest_expected[asked])
    answer: list[float | None] = [None] * len(owns)
    for at, chance in zip(asked, p, strict=True):
        answer[at] = float(chance)
    return answer


def most_on_one(machines: Array) -> tuple[int, int, int | None]:
    """Return on how many machines failures lie, how many on the one that has most, and which that is (None: no failure)."""
    if not len(machines):
        return 0, 0, None
    ids, counts = np.unique(machines, return_counts=True)
    worst = int(np.argmax(counts))
    return len(ids), int(counts[worst]), int(ids[worst])


def common_mode(modes: Array) -> str:
    """Return the mode of at least four in five failures, '' where there is none."""
    if not len(modes):
        return ""
    codes, counts = np.unique(modes, return_counts=True)
    return str(codes[np.argmax(counts)]) if 5 * counts.max() >= 4 * len(modes) else ""
