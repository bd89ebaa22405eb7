"""Does the fitted Weibull life fit: failures counted against those it expects, from first ages to last.

Chi-square for censored and late-entered lives with estimated parameters (Hjort 1990, Ann. Stat. 18:1221; Akritas 1988, JASA
83:222): the ages are cut where the fit expects equally many failures, so it sees a bend wherever there are failures.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from services.life_data.at_risk import summed_below
from services.life_data.lives import Array
from services.life_data.weibull import Weibull

FEWEST = 10  # below it the check says nothing
PER_CELL, MOST_CELLS = 4, 8


@dataclass(frozen=True)
class Check:
    """observed, expected (k,): failures in each span of ages; until (k,) its upper end; statistic, degrees, p_value."""

    until: Array
    observed: Array
    expected: Array
    statistic: float
    degrees: int
    p_value: float


def goodness_of_fit(fitted: Weibull) -> Check | None:
    """Return the comparison, or None with fewer than 10 failures or failures between two looks: it could not tell."""
    lives = fitted.lives
    failed = lives.exact
    if lives.between.any() or lives.failures < FEWEST:
        return None
    cells = int(min(MOST_CELLS, lives.failures // PER_CELL))
    until = _cut(fitted, cells)
    where = np.searchsorted(until[:-1], lives.lower[failed], side="left")
    seen = np.bincount(where, lives.count[failed], cells)
    expected, by_u, by_a = (np.diff(column, prepend=0.0) for column in _cumulative(fitted, until))
    slope = np.column_stack([by_u, by_a])
    spread = np.diag(expected) - slope @ fitted.covariance @ slope.T
    off = seen - expected
    # The fit makes the whole expected equal the whole observed: one cell follows from the others.
    statistic = float(off @ np.linalg.pinv(spread, rcond=1e-9, hermitian=True) @ off)
    return Check(until, seen, expected, statistic, cells - 1, float(chdtrc(cells - 1, statistic)))


def _cut(fitted: Weibull, cells: int) -> Array:
    """Ages (cells,) that part the expected failures into equal shares; the last is the oldest age."""
    lives = fitted.lives
    ages = np.unique(np.concatenate([lives.entry, lives.seen_until]))
    grown = _cumulative(fitted, ages)[0]
    inner = np.interp(grown[-1] * np.arange(1, cells) / cells, grown, ages)
    return np.append(inner, ages[-1])


def _cumulative(fitted: Weibull, ages: Array) -> tuple[Array, Array, Array]:
    """Expected failures up to each age (k,) of all parts while they were watched; slopes in ln(life) and ln(shape)."""
    lives = fitted.lives
    of_ages = _hazards(fitted, ages)
    still = summed_below(lives.entry, lives.count, ages, "right") - summed_below(
        lives.seen_until, lives.count, ages, "right"
    )
    return tuple(
        still * now
        + summed_below(lives.seen_until, lives.count * gone, ages, "right")
        - summed_below(lives.entry, lives.count * came, ages, "right")
        for now, gone, came in zip(
            of_ages, _hazards(fitted, lives.seen_until), _hazards(fitted, lives.entry), strict=True
        )
    )


def _hazards(fitted: Weibull, ages: Array) -> tuple[Array, Array, Array]:
    """Cumulative hazard at ages with its slopes in ln(life) and ln(shape); 0 at age 0."""
    hazard = (ages / fitted.life) ** fitted.shape
    z = np.log(np.maximum(hazard, 1e-300))
    return hazard, -fitted.shape * hazard, z * hazard
