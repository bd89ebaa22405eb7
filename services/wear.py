"""Wear that grows with distance: a straight line through what was measured, and where it meets a limit."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from services.errors import Refusal


class TooFewPoints(Refusal):
    """One measurement, or several at the same distance, make no line."""

    code = "too-few-points"


@dataclass(frozen=True)
class Line:
    """value = intercept + slope x distance."""

    slope: float
    intercept: float

    def crossing(self, limit: float) -> float | None:
        """Return the distance at which the line reaches `limit`; None when it runs level.

        Reach beyond the last measurement by no more than the span measured so far (design rule, no source).
        """
        return None if self.slope == 0 else (limit - self.intercept) / self.slope


def straight_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Return the least-squares line through measurements y at distances x. Raises TooFewPoints."""
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if len(np.unique(across)) < 2:
        raise TooFewPoints("A trend needs measurements at two distances.", remedy="Measure again after some riding.")
    away = across - across.mean()
    slope = float(away @ (up - up.mean()) / (away @ away))
    return Line(slope, float(up.mean() - slope * across.mean()))
