"""How often machines come back: the mean cumulative number of repairs per machine, and how sure it is.

This is about machines and positions that are repaired again and again, not about the life of one part. Each machine is
watched over a window of its own, entry < age <= end; repairs of one machine may hang together, so that the variance is
reckoned between machines. Everything is a cumulative sum after sorting: n log n. Ages in any one unit (km, days, hours).
Sources: W. Nelson, Technometrics 37 (1995) 147-157; J. Lawless and C. Nadeau, Technometrics 37 (1995) 158-168.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from services.errors import Refusal
from services.life_data.at_risk import summed_below, watched_at
from services.life_data.counts import z_of

FEWEST_WATCHED = 3  # a curve that rests on fewer machines is not shown (common practice, no source)
VARIANCES = ("nelson", "lawless", "poisson")


class BadHistories(Refusal):
    """Histories of machines that cannot be: ages outside their window, no machine, lists of different length."""

    code = "bad-histories"


@dataclass(frozen=True)
class Histories:
    """Machines and their repairs: start (n,) and end (n,) of each window; machine (k,) rows of them, age (k,) of the repair."""

    start: np.ndarray
    end: np.ndarray
    machine: np.ndarray
    age: np.ndarray


@dataclass(frozen=True)
class MeanRepairs:
    """The mean cumulative number of repairs at each age with a repair: all arrays (steps,), ages rising.

    watched: machines in their window at that age; variance: of `mean`, in repairs squared.
    """

    age: np.ndarray
    watched: np.ndarray
    repairs: np.ndarray
    mean: np.ndarray
    variance: np.ndarray

    @property
    def shown(self) -> int:
        """How many steps may be shown: up to the last before fewer than three machines are watched."""
        few = np.flatnonzero(self.watched < FEWEST_WATCHED)
        return int(few[0]) if len(few) else len(self.age)

    def at(self, ages: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Return (mean, variance) at any ages: steps, 0 before the first repair, unchanged after the last."""
        step = np.searchsorted(self.age, np.asarray(ages, dtype=float), side="right")
        return np.append(0.0, self.mean)[step], np.append(0.0, self.variance)[step]

    def limits(self, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Return the lower and upper limit (steps,) of the mean, each age by itself, on the log scale: never below 0."""
        factor = np.exp(z_of(confidence) * np.sqrt(self.variance) / self.mean)
        return self.mean / factor, self.mean * factor


@dataclass(frozen=True)
class Difference:
    """How many more repairs per machine one group has than another: arrays (ages,), limits at each age by itself."""

    age: np.ndarray
    more: np.ndarray
    low: np.ndarray
    high: np.ndarray


def histories(end: ArrayLike, machine: ArrayLike, age: ArrayLike, start: ArrayLike = 0.0) -> Histories:
    """Return checked histories of n machines with k repairs.

    start: where the watching began, one for all or (n,); a machine that failed on delivery began below 0.
    Raises BadHistories: no machine, a window that ends before it begins, a repair of no machine or outside its window.
    """
    ends = np.atleast_1d(np.asarray(end, dtype=float))
    rows, ages = np.atleast_1d(np.asarray(machine, dtype=np.intp)), np.atleast_1d(np.asarray(age, dtype=float))
    starts = np.broadcast_to(np.asarray(start, dtype=float), ends.shape)
    if not len(ends) or rows.shape != ages.shape:
        raise BadHistories("Histories need a machine, and an age for every repair.", field="machine")
    if not (np.isfinite(ends) & np.isfinite(starts) & (starts < ends)).all():
        raise BadHistories("A machine is watched from a start to a later end.", field="end", remedy="Check both ages.")
    if len(rows) and (rows.min() < 0 or rows.max() >= len(ends)):
        raise BadHistories("A repair belongs to no machine of the list.", field="machine")
    if not ((starts[rows] < ages) & (ages <= ends[rows])).all():
        raise BadHistories(
            "A repair lies outside the window of its machine.", field="age", remedy="Drop it, or correct the window."
        )
    return Histories(starts, ends, rows, ages)


def mean_repairs(seen: Histories, variance: str = "nelson") -> MeanRepairs:
    """Return the mean cumulative function with the variance asked for.

    "nelson": unbiased, repairs of one machine hang together (Nelson 1995); "lawless": the same with the divisor n;
    "poisson": as if every repair were independent, too narrow or too wide where machines differ.
    Several repairs of one machine at one age are one step; a machine that ends at that age is still watched.
    """
    age, step = np.unique(seen.age, return_inverse=True)
    watched = watched_at(seen.start, seen.end, np.ones(len(seen.end)), age)
    repairs = np.bincount(step, minlength=len(age))
    grown = np.cumsum(repairs / watched)
    if variance == "poisson":
        return MeanRepairs(age, watched, repairs, grown, np.cumsum(repairs / watched**2))
    gain = _gains(seen, age, step, watched, repairs)
    if variance == "nelson":
        gain = gain * watched / np.maximum(watched - 1, 1)
    return MeanRepairs(age, watched, repairs, grown, np.maximum(np.cumsum(gain), 0.0))


def _gains(seen: Histories, age: np.ndarray, step: np.ndarray, watched: np.ndarray, repairs: np.ndarray) -> np.ndarray:
    """What each step adds to the variance: its own spread, and twice its covariance with all steps before.

    With x = (own repairs - mean) / watched of a machine at a step, and B its sum of x over the steps before:
    sum of x^2 + 2 x B over the machines watched. B splits into what its own repairs gave and the means it lived through.
    """
    machine, at, own = _by_machine(seen.machine, step, len(age))
    gave = own / watched[at]
    lived = np.cumsum(repairs / watched**2)
    at_start = np.append(0.0, lived)[np.searchsorted(age, seen.start, side="right")]
    lived_before = lived - repairs / watched**2
    before = _sums_before(machine, gave) - (lived_before[at] - at_start[machine])
    total = np.bincount(machine, weights=gave, minlength=len(seen.end))
    sum_before = (
        np.append(0.0, np.cumsum(repairs / watched))[:-1]
        - summed_below(seen.end, total + at_start, age)
        + summed_below(seen.start, at_start, age)
        - watched * lived_before
    )
    spread = np.bincount(at, weights=own**2, minlength=len(age)) - repairs**2 / watched
    together = np.bincount(at, weights=own * before, minlength=len(age)) - repairs / watched * sum_before
    return spread / watched**2 + 2.0 * together / watched


def _by_machine(machine: np.ndarray, step: np.ndarray, steps: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(machine, step, how many repairs) of each pair that occurs, sorted by machine and step."""
    pair, own = np.unique(machine.astype(np.int64) * max(steps, 1) + step, return_counts=True)
    return pair // max(steps, 1), pair % max(steps, 1), own


def _sums_before(machine: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Sum of the values of the same machine in the rows before; rows sorted by machine."""
    before = np.cumsum(values) - values
    first = np.searchsorted(machine, machine, side="left")
    return before - before[first]


def difference(one: MeanRepairs, other: MeanRepairs, confidence: float = 0.95) -> Difference:
    """Return how many more repairs per machine `one` has than `other`, at every age with a repair in either.

    The two groups share no machine. Only ages up to which both curves may be shown; empty where that is none.
    Choose the age to judge at before looking: limits hold for one age at a time. Source: Nelson (1995), section 4.
    """
    last = min(curve.age[curve.shown - 1] if curve.shown else -np.inf for curve in (one, other))
    ages = np.union1d(one.age, other.age)
    ages = ages[ages <= last]
    (mean_one, var_one), (mean_other, var_other) = one.at(ages), other.at(ages)
    more = mean_one - mean_other
    half = z_of(confidence) * np.sqrt(var_one + var_other)
    return Difference(ages, more, more - half, more + half)
