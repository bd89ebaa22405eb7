"""The Weibull plot: where each failure stands, and the line through the points. For looking, never for limits.

Survivors shift the ranks of later failures (Johnson 1951, Ind. Math. 2:1; Abernethy, The New Weibull Handbook, ch. 2). On the
same lives the two ways of drawing a line differ by a tenth or more in the shape: the fit by likelihood is what counts.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv

from services.life_data.lives import Array, Lives, UnusableLives
from services.life_data.weibull import NoFiniteFit

Ranks = Literal["benard", "exact"]
Regress = Literal["age-on-share", "share-on-age"]


@dataclass(frozen=True)
class Line:
    """The line through the plotted points: shape, life in the unit of the ages, r2 how straight the points lie (0 to 1)."""

    shape: float
    life: float
    r2: float


def adjusted_ranks(lives: Lives) -> tuple[Array, Array]:
    """Return the ages at failure (r,) ascending and their ranks (r,) among all parts, survivors counted.

    At one age failures come before survivors; a row that stands for several parts is several points. Raises UnusableLives for
    failures between two looks, for late entries and for counts that are no whole numbers: no rank is known for them.
    """
    if lives.between.any() or (lives.entry > 0).any() or (lives.count != np.round(lives.count)).any():
        raise UnusableLives("Only parts watched from new, failed at a known age, have a rank.", field="entry")
    order = np.lexsort((~lives.exact, lives.lower))
    count = lives.count[order].astype(int)
    failed = np.repeat(lives.exact[order], count)
    age = np.repeat(lives.lower[order], count)
    n = len(age)
    left = np.arange(n, 0, -1)[failed]
    return age[failed], (n + 1) * (1.0 - np.cumprod(left / (left + 1.0)))


def median_ranks(rank: ArrayLike, parts: float, how: Ranks = "benard") -> Array:
    """Return the share failed at each rank (r,): Benard's (i - 0.3) / (n + 0.4), or the median of the beta law exactly."""
    i = np.asarray(rank, float)
    return (i - 0.3) / (parts + 0.4) if how == "benard" else betaincinv(i, parts - i + 1, 0.5)


def plotted(lives: Lives, how: Ranks = "benard") -> tuple[Array, Array]:
    """Return ages (r,) and shares failed (r,): the points of the Weibull plot, drawn at ln(age), ln(-ln(1 - share))."""
    age, rank = adjusted_ranks(lives)
    return age, median_ranks(rank, lives.parts, how)


def rank_regression(lives: Lives, *, how: Ranks = "benard", regress: Regress = "age-on-share") -> Line:
    """Return the line of least squares: ages on shares (Abernethy) or shares on ages (NIST e-Handbook 8.2.2.1).

    Raises NoFiniteFit with fewer than two different ages at failure.
    """
    age, share = plotted(lives, how)
    if len(np.unique(age)) < 2:
        raise NoFiniteFit("A line needs failures at two different ages.")
    x, y = np.log(age), np.log(-np.log1p(-share))
    across, along = x - x.mean(), y - y.mean()
    xx, yy, xy = across @ across, along @ along, across @ along
    shape = yy / xy if regress == "age-on-share" else xy / xx
    return Line(float(shape), float(np.exp(x.mean() - y.mean() / shape)), float(xy**2 / (xx * yy)))
