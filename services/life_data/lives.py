"""Lives as they were observed: failed at, still running at, failed between two looks, known only from some age on.

Ages in any one unit (km, days, hours, cycles); nothing here depends on which. The survivors are lives too: a list of failures
alone always looks like early failure (Meeker & Escobar 1998, ch. 2 and 11 for what censoring and truncation mean).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from services.errors import Refusal

Array = np.ndarray
NO_MODE = 0  # mode of a life that has not failed, or of failures nobody told apart
ROWS_NAMED = 5


class UnusableLives(Refusal):
    """Observed lives that contradict themselves: an age before the entry, a count of nothing, lists of unequal length."""

    code = "unusable-lives"


@dataclass(frozen=True)
class Lives:
    """n observations; one row may stand for several parts of the same age (`count`).

    entry (n,): age from which the part was watched, 0 when from new: it counts only because it had lived so long.
    lower, upper (n,): failed exactly at lower == upper; between the two when lower < upper; still good at lower when upper is
    inf. count (n,): parts per row. mode (n,): how it failed (whole numbers, 0: survived or not told apart).
    """

    entry: Array
    lower: Array
    upper: Array
    count: Array
    mode: Array

    @property
    def exact(self) -> Array:
        """(n,) true where the age at failure is known."""
        return self.lower == self.upper

    @property
    def survived(self) -> Array:
        """(n,) true where the part was still good when last seen."""
        return np.isinf(self.upper)

    @property
    def between(self) -> Array:
        """(n,) true where it failed somewhere between two looks."""
        return (self.lower < self.upper) & ~self.survived

    @property
    def parts(self) -> float:
        """How many parts were watched, survivors counted."""
        return float(self.count.sum())

    @property
    def failures(self) -> float:
        """How many of them failed."""
        return float(np.sum(self.count * ~self.survived))

    @property
    def seen_until(self) -> Array:
        """(n,) the last age anybody knows of: at failure, at the look that found it, or when last seen good."""
        return np.where(self.between, self.upper, self.lower) if self.between.any() else self.lower

    @property
    def exposure(self) -> float:
        """Distance or time under watch, in the unit of the ages; a failure between two looks counts to the middle."""
        until = np.where(self.between, (self.lower + self.seen_until) / 2, self.seen_until)
        return float(np.sum(self.count * (until - self.entry)))


def observed(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    entry: ArrayLike = 0.0,
    last_good: ArrayLike | None = None,
    count: ArrayLike = 1.0,
    mode: ArrayLike | None = None,
) -> Lives:
    """Return validated lives from plain arrays of one length n.

    age (n,) at failure, or when last seen good. failed (n,) true or false. entry (n,) age when registered: 0 from new.
    last_good (n,): where it failed unseen since a look at this age (go/no-go gauge, found at inspection); NaN where the age
    is exact; 0 when it was never looked at before. count (n,) parts per row. mode (n,) whole numbers above 0, only for
    failures. Raises UnusableLives naming the first rows at fault.
    """
    ages = np.atleast_1d(np.asarray(age, float))
    n = len(ages)
    has_failed = _column(failed, n, "failed").astype(bool)
    entries, counts = _column(entry, n, "entry"), _column(count, n, "count")
    modes = _column(NO_MODE if mode is None else mode, n, "mode")
    _refuse_contradictions(ages, entries, counts, modes)
    lower, upper = ages, np.where(has_failed, ages, np.inf)
    if last_good is not None:
        looked = _column(last_good, n, "last_good")
        unseen = has_failed & ~np.isnan(looked)
        lower = np.where(unseen, looked, ages)
        wrong = unseen & ((lower < entries) | (lower >= ages))
        _refuse(wrong, "last_good", "was last good before it was registered or after")
    modes = np.where(has_failed, modes, NO_MODE) if mode is not None else modes
    return Lives(entries, lower, upper, counts, modes.astype(int))


def has_been_watched(age: ArrayLike, entry: ArrayLike = 0.0) -> Array:
    """Return (n,) true where a life says anything: it was seen after it was registered. Fitted today says nothing yet."""
    return np.asarray(age, float) > np.asarray(entry, float)


def of_mode(lives: Lives, mode: int) -> Lives:
    """Return the same lives asked about one way of failing: what failed otherwise had survived this one until then.

    Competing modes (Meeker & Escobar 1998, ch. 15.4). What failed otherwise between two looks is known good at the first of
    them; looked at never before, it leaves out.
    """
    other = ~lives.survived & (lives.mode != mode)
    upper = np.where(other, np.inf, lives.upper)
    kept = ~(other & (lives.lower <= lives.entry))
    return Lives(
        lives.entry[kept], lives.lower[kept], upper[kept], lives.count[kept], np.where(other, 0, lives.mode)[kept]
    )


def modes_of(lives: Lives) -> list[int]:
    """Return the ways of failing that occur, smallest number first."""
    return [int(mode) for mode in np.unique(lives.mode[~lives.survived])]


def _column(values: ArrayLike, n: int, field: str) -> Array:
    """One number per life: a single value stands for all."""
    column = np.asarray(values, float)
    if column.ndim and column.shape != (n,):
        raise UnusableLives(f"There are {n} ages but {column.size} values of {field}.", field=field)
    return np.broadcast_to(column, (n,)) if column.ndim == 0 else column  # no memory for what is the same for all


def _refuse_contradictions(age: Array, entry: Array, count: Array, mode: Array) -> None:
    _refuse(~np.isfinite(age), "age", "has no age")
    _refuse(~(np.isfinite(entry) & (entry >= 0)), "entry", "was registered at no age, or before it was new")
    _refuse(age <= entry, "age", "was not watched for any length of life")
    _refuse(~(np.isfinite(count) & (count > 0)), "count", "stands for no part")
    _refuse((mode < 0) | (mode != np.round(mode)), "mode", "has a mode that is no whole number")


def _refuse(wrong: Array, field: str, why: str) -> None:
    if wrong.any():
        rows = [int(row) + 1 for row in np.flatnonzero(wrong)[:ROWS_NAMED]]
        named = ", ".join(str(row) for row in rows)
        remedy = "Put these lives right or leave them out; every other life counts, survivors too."
        raise UnusableLives(f"Life {named} {why}.", field=field, remedy=remedy, rows=rows)
