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
    failed = np.bincount(group, pieces.failed)
    expected = np.bincount(group, pieces.expected)
    rest, rest_expected = failed.sum() - failed, np.maximum(expected.sum() - expected, _NOTHING)
    p = tests.rate_p(failed[told], np.maximum(expected[told], _NOTHING), rest[told], rest_expected[told])
    return [
        _comparison(pieces, dimension, str(names[row]), group == row, float(chance))
        for row, chance in zip(told, p, strict=True)
    ]


def _comparison(pieces: Pieces, dimension: str, name: str, own: Array, p: float) -> Comparison:
    failed, rest = int(pieces.failed[own].sum()), int(pieces.failed[~own].sum())
    expected = max(float(pieces.expected[own].sum()), _NOTHING)
    rest_expected = max(float(pieces.expected[~own].sum()), _NOTHING)
    run = float(pieces.run[own].sum())
    low, high = rate_limits(failed, run, confidence=0.90) if run > 0 else (0.0, 0.0)
    ratio_low, ratio_high = tests.ratio_limits(failed, expected, rest, rest_expected, 0.90)
    machines, most, worst = most_on_one(pieces.machine[own & pieces.failed])
    without = None
    if most > 1 and failed:
        one = own & (pieces.machine == worst)
        left = max(expected - float(pieces.expected[one].sum()), _NOTHING)
        without = float(tests.rate_p(failed - most, left, rest, rest_expected)[0])
    return Comparison(
        dimension, name, failed, int(own.sum()), run, expected, rest, int((~own).sum()), float(pieces.run[~own].sum()),
        rest_expected, failed / run if run > 0 else 0.0, float(low), float(high),
        (failed / expected) / (rest / rest_expected) if rest else None, ratio_low,
        float(ratio_high) if np.isfinite(ratio_high) else None, p, machines=machines, most_on_one=most,
        worst_machine=worst, p_without=without, carried=int(pieces.fitted[own].sum()),
        mode=common_mode(pieces.mode[own & pieces.failed]),
    )  # fmt: skip


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
