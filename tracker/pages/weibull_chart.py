"""The Weibull plot: failures on paper where a Weibull life is a straight line; and the same as a table."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.life_data.ladder import say_number
from tracker.pages.charts import Chart, Plane, log_ticks
from tracker.pages.life_charts import finished, say_share

SHARES = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.9, 0.99)  # the grid of probability paper
HIGHEST = 0.995


@dataclass(frozen=True)
class Paper:
    """What stands on the paper: points (age, share failed), the fit, and (share failed, earliest, latest age): its limits."""

    points: Sequence[tuple[float, float]]
    shape: float
    life: float
    limits: Sequence[tuple[float, float, float]]

    def age_at(self, share: float) -> float:
        """Return the age by which this share has failed by the fit."""
        return self.life * (-math.log1p(-share)) ** (1 / self.shape)

    @property
    def bounded(self) -> list[tuple[float, float, float]]:
        """The limits that are finite."""
        return [(share, low, high) for share, low, high in self.limits if 0 < low <= high < math.inf]

    @property
    def shares(self) -> tuple[float, float]:
        """The lowest and the highest share on the paper."""
        told = [share for _, share in self.points] + [share for share, *_ in self.bounded]
        return min(told) * 0.8, min(max(told) * 1.1, HIGHEST)

    @property
    def ages(self) -> tuple[float, float]:
        """The lowest and the highest age on the paper."""
        ages = [age for age, _ in self.points] + [self.age_at(share) for share in self.shares]
        ages += [age for _, *ends in self.bounded for age in ends]
        return min(ages) * 0.85, max(ages) * 1.15


def height_of(share: float) -> float:
    """Return where a share stands on the paper: ln(-ln(1 - share))."""
    return math.log(-math.log1p(-share))


def weibull_chart(paper: Paper, unit: str) -> Chart:
    """Return the plot with the fitted line and its limits."""
    title = "Weibull plot"
    told = f"{len(paper.points)} failures beside the fitted life: the closer they lie to the line, the better it fits."
    drawing = finished("weibull", title, told, lambda width, height: _plane(paper, unit, (width, height)))
    key = [("dot", "a failure, at its median rank"), ("fitted", "fitted life"), ("ends", "its limits, nine in ten")]
    rows = [
        [
            say_share(share),
            f"{say_number(paper.age_at(share))} {unit}",
            f"{say_number(low)} to {say_number(high)} {unit}",
        ]
        for share, low, high in paper.bounded
    ]
    return Chart("weibull", title, drawing, told, key, ["Failed", "By the fitted life at", "Between"], rows)


def _plane(paper: Paper, unit: str, size: tuple[float, float]) -> Plane:
    (least, most), ends = paper.ages, paper.shares
    plane = Plane(math.log(least), math.log(most), *map(height_of, ends), *size)
    levels = {height_of(share): f"{share * 100:g} %" for share in SHARES if ends[0] <= share <= ends[1]}
    plane.axes(log_ticks(least, most), f"{unit} of its life", levels.__getitem__, list(levels))
    for share, low, high in paper.bounded:
        plane.sideways(math.log(max(low, least)), math.log(min(high, most)), height_of(share))
    plane.line([(math.log(paper.age_at(share)), height_of(share)) for share in ends], "fitted")
    for age, share in paper.points:
        plane.dot(math.log(age), height_of(share))
    return plane
