"""Did a change help: pieces before it against pieces after it, or old against new, at the same ages.

Each life is cut where the change reached it. Failures on both sides stand beside those expected if the change had made no
difference, by the common hazard at each age (services/review/compare), so that a fleet that grows older is not called worse
for being older. Given all failures, their split is tested exactly. What else changed on that day is not told apart.
"""

from dataclasses import dataclass

import numpy as np

from services.life_data.few_failures import rate_limits, rate_upper
from services.life_data.groups import rate_p, ratio_limits
from services.life_data.ladder import say_number
from services.life_data.lives import Array
from services.life_data.recurrence import Histories, difference, mean_repairs
from services.review.compare import expected_alike
from services.review.found import METRICS

SURE = 0.05  # chance of a difference this large if there is none, below which one is spoken of
HELPED, WORSE, ALIKE, TOO_FEW = "helped", "worse", "alike", "too-few"
_NOTHING = 1e-12  # expected failures of a side that reached no age at which any failed


@dataclass(frozen=True)
class Pieces:
    """n pieces in one metric, arrays (n,): watched from entry until end, failed at the end or not; known: is the age known
    (else ages count from the entry); since: the age from which the change holds for it, inf: never, at or below entry: always.
    """

    entry: Array
    end: Array
    failed: Array
    known: Array
    since: Array


@dataclass(frozen=True)
class Side:
    """One side: pieces watched, failed, what they ran, expected failures if all failed alike, rate per unit with exact 90 %
    limits (low None: no failure, high is then the 95 % bound).
    """

    name: str
    parts: int
    failed: int
    exposure: float
    expected: float
    rate: float
    low: float | None
    high: float


@dataclass(frozen=True)
class Compared:
    """Both sides, how many times the rate after is that before at the same ages (None: no failure before), exact 90 % limits,
    exact two-sided p, the p if none of these failures had come after, and what may be said: helped, worse, alike (no
    difference told), too-few (even none after would have proved nothing).
    """

    before: Side
    after: Side
    ratio: float | None
    low: float
    high: float | None
    p: float
    p_if_none: float
    word: str
    sentence: str


@dataclass(frozen=True)
class RepairsDiffer:
    """How many more repairs per machine the second group has at an age, with 90 % limits; ages in the metric's unit."""

    age: float
    more: float
    low: float
    high: float
    sentence: str


def compared(pieces: Pieces, metric: str, names: tuple[str, str] = ("before", "after")) -> Compared:
    """Return what the change did to the rate of failures; names: what the two sides are called."""
    rows = _cut(pieces)
    expected = _expected(rows)
    sides = [
        _side(name, rows, expected, rows.is_after == after) for name, after in zip(names, (False, True), strict=True)
    ]
    before, after = sides
    if not min(before.exposure, after.exposure) > 0:
        return Compared(
            before,
            after,
            None,
            0.0,
            None,
            1.0,
            1.0,
            TOO_FEW,
            f"Nothing ran {_empty(before, after)}: nothing to compare.",
        )
    alike = (max(before.expected, _NOTHING), max(after.expected, _NOTHING))
    p = float(rate_p(after.failed, alike[1], before.failed, alike[0])[0])
    low, high = ratio_limits(after.failed, alike[1], before.failed, alike[0], 0.90)
    ratio = (after.failed / alike[1]) / (before.failed / alike[0]) if before.failed else None
    if_none = _p_if_none_after(before.failed + after.failed, alike)
    word = _word(p, if_none, after.failed * alike[0] < before.failed * alike[1])
    told = _sentence(word, before, after, ratio, metric)
    return Compared(
        before, after, ratio, float(low), float(high) if np.isfinite(high) else None, p, if_none, word, told
    )


@dataclass(frozen=True)
class _Rows:
    """Lives cut in two where the change came: as in Pieces, with piece (m,) and is_after (m,)."""

    piece: Array
    entry: Array
    end: Array
    failed: Array
    known: Array
    is_after: Array


def _cut(pieces: Pieces) -> _Rows:
    """Each life before the change and after it; a failure belongs to the side on which its life ended."""
    n = np.arange(len(pieces.entry))
    early, late = np.minimum(pieces.end, pieces.since), np.maximum(pieces.entry, pieces.since)
    ran_before, ran_after = early > pieces.entry, pieces.end > late
    return _Rows(
        np.concatenate([n[ran_before], n[ran_after]]),
        np.concatenate([pieces.entry[ran_before], late[ran_after]]),
        np.concatenate([early[ran_before], pieces.end[ran_after]]),
        np.concatenate([(pieces.failed & ~ran_after)[ran_before], pieces.failed[ran_after]]),
        np.concatenate([pieces.known[ran_before], pieces.known[ran_after]]),
        np.concatenate([np.zeros(ran_before.sum(), bool), np.ones(ran_after.sum(), bool)]),
    )


def _expected(rows: _Rows) -> Array:
    """(m,) failures of each row by the hazard all have in common; where nobody knows the age, by what it ran."""
    expected, run = np.zeros(len(rows.entry)), rows.end - rows.entry
    expected[rows.known] = expected_alike(rows.entry[rows.known], rows.end[rows.known], rows.failed[rows.known])
    apart = ~rows.known
    if apart.any() and run[apart].sum() > 0:
        expected[apart] = rows.failed[apart].sum() * run[apart] / run[apart].sum()
    return expected


def _side(name: str, rows: _Rows, expected: Array, own: Array) -> Side:
    failed, run = int(rows.failed[own].sum()), float((rows.end - rows.entry)[own].sum())
    low, high = (float(limit) for limit in rate_limits(failed, run)) if run > 0 else (0.0, 0.0)
    high = float(rate_upper(0, run)) if run > 0 and not failed else high
    rate = failed / run if run > 0 else 0.0
    return Side(
        name,
        len(np.unique(rows.piece[own])),
        failed,
        run,
        float(expected[own].sum()),
        rate,
        low if failed else None,
        high,
    )


def _p_if_none_after(failures: int, expected: tuple[float, float]) -> float:
    """The p if none had failed after: above the level even that would not have proved anything."""
    return float(rate_p(0, expected[1], failures, expected[0])[0])


def _word(p: float, p_if_none: float, is_fewer: bool) -> str:
    if p <= SURE:
        return HELPED if is_fewer else WORSE
    return TOO_FEW if p_if_none > SURE else ALIKE


def _empty(before: Side, after: Side) -> str:
    return " and ".join(side.name for side in (before, after) if not side.exposure > 0)


def _sentence(word: str, before: Side, after: Side, ratio: float | None, metric: str) -> str:
    unit = METRICS[metric]
    told = (
        f"{after.name.capitalize()} {_failures(after.failed)} in {say_number(after.exposure)} {unit}, {before.name}"
        f" {_failures(before.failed)} in {say_number(before.exposure)} {unit}"
    )
    if word == TOO_FEW:
        return f"{told}: too few to tell. Even no failure at all on the first side would not prove a difference."
    if word == ALIKE:
        return f"{told}: no difference can be told at the same ages. That is no proof that there is none."
    times = "only there did any fail" if ratio is None else f"{say_number(ratio)} times the rate at the same ages"
    return f"{told}: {times}. More than chance, {'for the better' if word == HELPED else 'for the worse'}."


def _failures(count: int) -> str:
    return "1 failure" if count == 1 else f"{count} failures"


def repairs_differ(old: Histories, new: Histories, metric: str, names: tuple[str, str]) -> RepairsDiffer | None:
    """Return how the repairs per place on a trike differ at the last age at which both curves still rest on three places.

    The groups share no trike's place. None where no such age exists. Source: Nelson (1995), section 4.
    """
    told = difference(mean_repairs(new), mean_repairs(old), 0.90)
    if not len(told.age):
        return None
    age, more, low, high = (float(column[-1]) for column in (told.age, told.more, told.low, told.high))
    unit = METRICS[metric]
    apart = "no difference can be told" if low <= 0 <= high else "more than chance"
    sentence = (
        f"By {say_number(age)} {unit} a place has had {abs(more):.2f} {'more' if more >= 0 else 'fewer'} repairs {names[1]} than"
        f" {names[0]} (nine in ten: {low:+.2f} to {high:+.2f}): {apart}."
    )  # fmt: skip
    return RepairsDiffer(age, more, low, high, sentence)
