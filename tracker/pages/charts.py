"""Charts drawn on the server as SVG: scales, ticks and paths. Colours are the style sheet's; every chart has its table."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

LEFT, RIGHT, TOP, BOTTOM = 64.0, 16.0, 16.0, 34.0  # margins for the words at the axes
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
MONTH_STEPS = (1, 2, 3, 6, 12, 24)


@dataclass(frozen=True)
class Tick:
    """A mark at an axis: where it is drawn, and its words."""

    at: float
    words: str


@dataclass(frozen=True)
class Plane:
    """Maps values to the points of a drawing of width x height: x_low ... x_high from left, y_low ... y_high from below."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float
    width: float = 720.0
    height: float = 300.0

    @property
    def left(self) -> float:
        """Where the y axis stands."""
        return LEFT

    @property
    def right(self) -> float:
        """Where the plane ends at the right."""
        return self.width - RIGHT

    @property
    def top(self) -> float:
        """Where it ends above."""
        return TOP

    @property
    def bottom(self) -> float:
        """Where the x axis lies."""
        return self.height - BOTTOM

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the point of (x, y), inside the plane, to a tenth."""
        across = (x - self.x_low) / ((self.x_high - self.x_low) or 1.0)
        up = (y - self.y_low) / ((self.y_high - self.y_low) or 1.0)
        across, up = min(max(across, 0.0), 1.0), min(max(up, 0.0), 1.0)
        return (
            round(self.left + across * (self.right - self.left), 1),
            round(self.bottom - up * (self.bottom - self.top), 1),
        )

    def line(self, points: Sequence[tuple[float, float]]) -> str:
        """Return the path through these values."""
        return "M" + " L".join(f"{x:g} {y:g}" for x, y in (self.at(*point) for point in points))

    def band(self, xs: Sequence[float], lows: Sequence[float], highs: Sequence[float]) -> str:
        """Return the closed path between two lines."""
        there = list(zip(xs, highs, strict=True))
        back = list(zip(xs, lows, strict=True))[::-1]
        return self.line([*there, *back]) + " Z"

    def number_ticks(self, unit: str = "", most: int = 5) -> list[Tick]:
        """Return round numbers at the y axis."""
        return [
            Tick(self.at(self.x_low, value)[1], f"{value:,.10g} {unit}".strip())
            for value in round_numbers(self.y_low, self.y_high, most)
        ]

    def number_ticks_across(self, unit: str = "", most: int = 6) -> list[Tick]:
        """Return round numbers at the x axis."""
        return [
            Tick(self.at(value, self.y_low)[0], f"{value:,.10g} {unit}".strip())
            for value in round_numbers(self.x_low, self.x_high, most)
        ]

    def day_ticks(self, most: int = 7) -> list[Tick]:
        """Return firsts of months at the x axis, whose values are days (ordinals)."""
        return [
            Tick(self.at(day.toordinal(), self.y_low)[0], f"{day:%b %Y}")
            for day in months(self.x_low, self.x_high, most)
        ]


def round_numbers(low: float, high: float, most: int) -> list[float]:
    """Return at most `most` round numbers from `low` to `high`."""
    span = (high - low) or 1.0
    size = 10.0 ** math.floor(math.log10(span / most))
    step = next(size * step for step in (*STEPS, 20.0) if span / (size * step) <= most - 1 or step == 20.0)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 10) for k in range(first, last + 1)]


def months(low: float, high: float, most: int) -> list[date]:
    """Return firsts of months between two days, evenly spaced, at most `most` (or two years apart)."""
    begun, ended = date.fromordinal(math.ceil(low)), date.fromordinal(math.floor(high))
    span = (ended.year - begun.year) * 12 + ended.month - begun.month + 1
    step = next((step for step in MONTH_STEPS if span / step <= most), MONTH_STEPS[-1])
    firsts = []
    for number in range(begun.year * 12 + begun.month - 1, ended.year * 12 + ended.month):
        day = date(number // 12, number % 12 + 1, 1)
        if number % step == 0 and begun <= day <= ended:
            firsts.append(day)
    return firsts
