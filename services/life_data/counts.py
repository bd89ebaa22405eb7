"""Counts, shares and lives as the methods of this room take them: looked at once, refused in words."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from services.errors import Refusal


class BadCounts(Refusal):
    """Numbers that cannot be: failures below 0 or without what they came from, a chance outside 0 and 1, no life."""

    code = "bad-counts"


def paired_counts(failures: ArrayLike, exposure: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Return (failures, exposure), both (groups,), whole numbers from 0 and numbers above 0. Raises BadCounts."""
    count, lived = np.atleast_1d(np.asarray(failures)), np.atleast_1d(np.asarray(exposure, dtype=float))
    whole = np.isfinite(count) & (count >= 0) & (count == np.floor(count))
    if count.shape != lived.shape or count.ndim != 1 or not len(count) or not whole.all():
        raise BadCounts("Failures are whole numbers, one for each group.", field="failures")
    check_exposure(lived)
    return count.astype(np.int64), lived


def check_exposure(exposure: ArrayLike) -> None:
    """Raise BadCounts unless every exposure (km, days, hours, parts) is a number above 0."""
    lived = np.asarray(exposure, dtype=float)
    if not (np.isfinite(lived) & (lived > 0)).all():
        raise BadCounts("What never ran says nothing.", field="exposure", remedy="Leave out what has no exposure.")


def check_life(shape: ArrayLike, scale: ArrayLike = 1.0) -> None:
    """Raise BadCounts unless every Weibull life has a shape and a scale above 0."""
    if not ((np.asarray(shape) > 0).all() and (np.asarray(scale) > 0).all()):
        raise BadCounts("A life needs a shape and a scale above 0.", field="shape")


def checked_share(share: float, field: str = "confidence") -> float:
    """Return a chance that lies between 0 and 1, both left out. Raises BadCounts."""
    if not 0 < share < 1:
        raise BadCounts("A chance lies between 0 and 1.", field=field)
    return share


def tail_of(confidence: float) -> float:
    """Return the chance that two-sided limits leave on each side. Raises BadCounts."""
    return 0.5 * (1.0 - checked_share(confidence))


def z_of(confidence: float) -> float:
    """Return how many standard errors two-sided limits reach on each side by the normal law. Raises BadCounts."""
    return float(ndtri(0.5 + 0.5 * checked_share(confidence)))
