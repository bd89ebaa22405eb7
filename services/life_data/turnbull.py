"""What share is still good where failures were only found at a look: the estimate for intervals, late entries allowed.

Turnbull 1976, J. R. Stat. Soc. B 38:290, with the stretches of Frydman 1994 (B 56:71) for late entries. The data fix only how
much fails within each of a few stretches, never where within one: between `left` and `right` the curve may fall anywhere.
No limits are given: the estimate nears the truth more slowly than Kaplan-Meier's, so that Greenwood's formula and the usual
bootstrap promise too much. With every age exact it is Kaplan-Meier: take `survival.kaplan_meier` then, which has limits.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from services.errors import Refusal
from services.life_data.lives import Array, Lives

ENOUGH, GOOD = 1e-9, 1e-4  # log-likelihood per part that could still be won: when to stop, and what still is an answer
ROUNDS = 1500  # some seconds with thousands of looks
NOTHING = 1e-8  # a share that is a stretch without failures, not yet driven to 0
_BEFORE, _AT, _AFTER = 0, 1, 2  # order at one age: an exact failure begins, stretches end, stretches begin


class NoCurve(Refusal):
    """The likeliest curve was not reached, or there is nothing to estimate."""

    code = "no-curve"


@dataclass(frozen=True)
class Stretches:
    """The likeliest curve: share `mass` (k,) fails after `left` and not after `right` (k,); left == right: exactly then.

    survival (k,): still good after each `right`. The last stretch may end at infinity: what survivors are left with.
    off: an upper bound of the log-likelihood per part that any other curve could win (Gentleman & Geyer 1994, Biometrika
    81:618; with late entries the slope of the likelihood only). emptied_at: an age by which everybody then at risk had
    failed although others come later, None otherwise: such a curve is 0 from there and must not be drawn.
    """

    left: Array
    right: Array
    mass: Array
    survival: Array
    log_likelihood: float
    off: float
    emptied_at: float | None

    def between(self, ages: ArrayLike) -> tuple[Array, Array]:
        """Return the least and the most (m,) that may still be good just after each age: equal outside the stretches."""
        at, after = np.asarray(ages, float), np.append(1.0, self.survival)
        most = after[np.searchsorted(self.right, at, side="right")]
        begun = np.where(self.left == self.right, self.right, np.nextafter(self.left, np.inf))
        return after[np.searchsorted(begun, at, side="right")], most


@dataclass(frozen=True)
class _Seen:
    """Lives as rows of cells: failed in cells first (n,) to last (n,), watched from cell `since` (n,) on; count (n,)."""

    first: Array
    last: Array
    since: Array
    count: Array
    cells: int

    @property
    def parts(self) -> float:
        """How many parts were watched."""
        return float(self.count.sum())

    def chances(self, still: Array) -> tuple[Array, Array]:
        """(n,) chance to fail where each did, (n,) chance to be there when it was registered; still (cells + 1,)."""
        return still[self.first] - still[self.last + 1], still[self.since]

    def may_fail(self, weight: Array) -> Array:
        """(cells,) sum of the weights (n,) of who may have failed in each cell."""
        return np.cumsum(self._at(self.first, weight) - self._at(self.last + 1, weight))[:-1]

    def is_watched(self, weight: Array) -> Array:
        """(cells,) sum of the weights (n,) of who was watched in each cell."""
        return np.cumsum(self._at(self.since, weight))[:-1]

    def _at(self, cell: Array, weight: Array) -> Array:
        return np.bincount(cell, weight, self.cells + 1)


def turnbull(lives: Lives) -> Stretches:
    """Return the likeliest curve, told how far `off` it may be. Raises NoCurve: none failed, or it was not reached.

    Failures between two looks, exact ages, survivors and late entries together; a round costs n, not n x k.
    """
    if not (~lives.survived).any():
        raise NoCurve("Nothing has failed yet: there is no curve to estimate.")
    left, right, seen = _in_cells(lives)
    hazard, off = _self_consistent(seen)
    still = _still(hazard)
    used = hazard * still[:-1] > 0
    survival = np.where(still[1:] < NOTHING, 0.0, still[1:])
    gone = used & (survival <= 0) & (right < lives.seen_until.max())
    emptied = float(right[gone][0]) if gone.any() else None
    mass = -np.diff(np.append(1.0, survival[used]))
    return Stretches(left[used], right[used], mass, survival[used], _log_likelihood(seen, still), off, emptied)


def _in_cells(lives: Lives) -> tuple[Array, Array, _Seen]:
    """(left, right) of the stretches that can hold failures, and each life as cells of them; rows alike put together.

    Such a stretch is a beginning directly followed by an end. A late entry is an end too: before it and after it are told
    apart. Ages with their order become whole numbers, three to an age.
    """
    ages = np.unique(np.concatenate([lives.lower, lives.upper, lives.entry]))
    begin = 3 * np.searchsorted(ages, lives.lower) + np.where(lives.exact, _BEFORE, _AFTER)
    end, entry = (3 * np.searchsorted(ages, column) + _AT for column in (lives.upper, lives.entry))
    begins, ends = np.unique(begin), np.unique(np.concatenate([end, entry]))
    codes = np.sort(np.concatenate([begins, ends]))
    is_end = np.isin(codes, ends)
    at = np.flatnonzero(~is_end[:-1] & is_end[1:])
    cell_begin, cell_end = codes[at], codes[at + 1]
    first = np.searchsorted(cell_begin, begin)
    last = np.searchsorted(cell_end, end, side="right") - 1
    since = np.searchsorted(cell_end, entry, side="right")
    rows, where = np.unique(np.column_stack([first, last, since]), axis=0, return_inverse=True)
    seen = _Seen(*rows.T, np.bincount(where.ravel(), lives.count, len(rows)), len(at))
    return ages[cell_begin // 3], ages[cell_end // 3], seen


def _still(hazard: Array) -> Array:
    """(cells + 1,) share still good before each cell and after the last."""
    return np.append(1.0, np.cumprod(1.0 - hazard))


def _log_likelihood(seen: _Seen, still: Array) -> float:
    failed, there = seen.chances(still)
    return float(seen.count @ np.log(failed / there))


def _step(seen: _Seen, hazard: Array) -> Array:
    """The next hazard of each cell: failures expected in it over parts expected to reach it (self-consistency)."""
    still = _still(hazard)
    failed, _ = seen.chances(still)
    share = hazard * still[:-1]
    fails = share * seen.may_fail(seen.count / failed)
    reach = np.cumsum(fails[::-1])[::-1] - (seen.parts - seen.is_watched(seen.count))
    with np.errstate(divide="ignore", invalid="ignore"):
        stepped = np.where(fails > 0, fails / reach, 0.0)
    stepped[:-1] = np.minimum(stepped[:-1], 1.0 - 0.1 * NOTHING)  # who comes later still has a chance
    stepped[-1] = 1.0
    return stepped


def _off(seen: _Seen, hazard: Array) -> float:
    """How much log-likelihood per part a share moved into one cell could win at most: 0 at the likeliest curve."""
    failed, there = seen.chances(_still(hazard))
    slope = seen.may_fail(seen.count / failed) - seen.is_watched(seen.count / there)
    return float(slope.max() / seen.parts)


def _self_consistent(seen: _Seen) -> tuple[Array, float]:
    """(hazard of each cell, how far off); cells left with next to nothing are emptied where that costs nothing."""
    hazard, off = _climbed(seen, 1.0 / np.arange(seen.cells, 0, -1))
    if off > GOOD:
        raise NoCurve("The likeliest curve was not reached.", remedy="Show what failed between which looks instead.")
    emptied, off_emptied = _climbed(seen, np.where(hazard < NOTHING, 0.0, hazard))
    return (emptied, max(off_emptied, 0.0)) if off_emptied <= max(off, ENOUGH) else (hazard, max(off, 0.0))


def _climbed(seen: _Seen, hazard: Array) -> tuple[Array, float]:
    """(hazard, how far off) after steps until it is good enough, or `ROUNDS` of them."""
    for _ in range(0, ROUNDS, 5):
        for _ in range(5):
            hazard = _drawn_out(seen, hazard)
        if _off(seen, hazard) < ENOUGH:
            break
    return hazard, _off(seen, hazard)


def _drawn_out(seen: _Seen, hazard: Array) -> Array:
    """Two steps, drawn out along their bend where that is likelier (Varadhan & Roland 2008, Scand. J. Stat. 35:335)."""
    one = _step(seen, hazard)
    two = _step(seen, one)
    first, bend = one - hazard, two - 2.0 * one + hazard
    size = float(np.sqrt(bend @ bend))
    if size == 0.0:
        return two
    reach = max(float(np.sqrt(first @ first)) / size, 1.0)
    far = hazard + 2.0 * reach * first + reach**2 * bend
    outside = (far <= 0) | (far >= 1)
    far = _step(seen, np.where(outside, two, far))
    return far if _log_likelihood(seen, _still(far)) >= _log_likelihood(seen, _still(two)) else two
