"""Raw odometer readings -> the distance a trike has run, whatever happened to its displays; and doubts about a reading.

A display counts per segment: life = the sum of what each display counted (common practice, no source). A swapped display
whose last value nobody knows is bridged by the riding rate and flagged as an estimate.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from services.readings import (
    BadNumber,
    ImpossibleSpeed,
    Proposal,
    ReadingBeforeDelivery,
    ReadingInFuture,
    Verdict,
    judge_reading,
)

__all__ = [
    "BadNumber", "DisplayChange", "ImpossibleSpeed", "Proposal", "ReadingBeforeDelivery", "ReadingInFuture", "Timeline",
    "Verdict", "build_timeline", "judge_reading", "wheel_scale",
]  # fmt: skip


@dataclass(frozen=True)
class DisplayChange:
    """A display swapped or reset on `day`. `old_final_km` is None when nobody noted what the old one showed."""

    day: float
    old_final_km: float | None
    new_start_km: float = 0.0
    estimated: bool = False


@dataclass(frozen=True)
class Timeline:
    """Life distance over time: `life_km[i]` on `days[i]`, never falling; `estimated[i]` where nobody read it.

    `ahead_days`, `ahead_km`: what is expected after the last point (services/expected.py); empty where nothing is.
    """

    days: np.ndarray = field(repr=False)
    life_km: np.ndarray = field(repr=False)
    estimated: np.ndarray = field(repr=False)
    ahead_days: np.ndarray = field(repr=False, default_factory=lambda: np.empty(0))
    ahead_km: np.ndarray = field(repr=False, default_factory=lambda: np.empty(0))

    @property
    def last_day(self) -> float:
        """The day of the last point."""
        return float(self.days[-1])

    @property
    def last_km(self) -> float:
        """Life (km) at the last point."""
        return float(self.life_km[-1])

    @property
    def reading_count(self) -> int:
        """How many points were read from a display."""
        return int(np.count_nonzero(~self.estimated)) - 1

    def life_at(self, days: np.ndarray | Sequence[float] | float, km_per_day: float = 0.0) -> np.ndarray:
        """Return life (km) on `days`: 0 before the first point, interpolated, past the last as expected, then at `km_per_day`."""
        asked = np.asarray(days, dtype=float)
        known, life = self.days, self.life_km
        if len(self.ahead_days):
            known, life = np.append(known, self.ahead_days), np.append(life, self.ahead_km)
        inside = np.interp(asked, known, life, left=0.0)
        return inside + np.maximum(asked - known[-1], 0.0) * km_per_day

    def day_reached(self, life_km: float) -> float:
        """Return the day on which life reached `life_km`, which is not beyond the last point."""
        after = int(np.searchsorted(self.life_km, life_km, side="left"))
        if after == 0:
            return float(self.days[0])
        low, high = self.life_km[after - 1], self.life_km[after]
        return float(self.days[after - 1] + (life_km - low) / (high - low) * (self.days[after] - self.days[after - 1]))

    def is_estimate(self, days: np.ndarray | Sequence[float] | float) -> np.ndarray:
        """Return whether life on `days` rests on an estimate: past the last reading, or on the way to and after a guess."""
        asked = np.asarray(days, dtype=float)
        return (asked > self.days[-1]) | np.logical_or.accumulate(self.estimated)[self._next_point(asked)]

    def is_guessed_between(self, start_day: float, end_day: float) -> bool:
        """Return whether the distance run from `start_day` to `end_day` holds an estimate: a guess before it cancels out."""
        first, last = self._next_point(np.array([start_day, end_day]))
        # A guess on the first day itself is in both ends alike.
        first += int(self.days[first] == start_day)
        return end_day > self.last_day or bool(self.estimated[first : last + 1].any())

    def _next_point(self, asked: np.ndarray) -> np.ndarray:
        return np.clip(np.searchsorted(self.days, asked), 0, len(self.days) - 1)


def build_timeline(
    days: Sequence[float], display_km: Sequence[float], changes: Sequence[DisplayChange] = (), *,
    zero_day: float, zero_km: float = 0.0, km_per_day: float | None = None,
) -> Timeline:  # fmt: skip
    """Return the timeline of one trike. Rows may come in any order; the same rows give the same timeline.

    Life is 0 on `zero_day` at display value `zero_km`. `km_per_day` bridges a display whose last value is unknown; without
    it the average before the swap does. Swaps up to `zero_day` do not count: `zero_km` is what the display showed after.
    """
    rows = sorted(zip(map(float, days), map(float, display_km), strict=True))
    points = [(float(zero_day), 0.0, False)]
    base_life, base_display, begun = 0.0, float(zero_km), -math.inf
    swaps = sorted((change for change in changes if change.day > zero_day), key=lambda change: change.day)
    for change in [*swaps, None]:
        ended = math.inf if change is None else change.day
        for day, km in rows:
            if begun <= day < ended:
                points.append((max(day, zero_day), base_life + km - base_display, False))
        if change is not None:
            life, estimated = _life_at_change(change, points, base_life, base_display, km_per_day)
            points.append((change.day, life, estimated))
            base_life, base_display, begun = life, change.new_start_km, change.day
    return monotone(points)


def _life_at_change(
    change: DisplayChange,
    points: list[tuple[float, float, bool]],
    base_life: float,
    base_display: float,
    rate: float | None,
) -> tuple[float, bool]:
    if change.old_final_km is not None:
        return base_life + change.old_final_km - base_display, change.estimated
    first, last = points[0], max(points)
    span = last[0] - first[0]
    pace = rate if rate is not None else (last[1] / span if span > 0 else 0.0)
    return last[1] + pace * max(change.day - last[0], 0.0), True


def monotone(points: list[tuple[float, float, bool]]) -> Timeline:
    """Points in time order, one a moment (the highest), never falling."""
    ordered = sorted(points, key=lambda p: (p[0], p[1]))
    days = np.array([p[0] for p in ordered])
    life = np.maximum.accumulate(np.maximum([p[1] for p in ordered], 0.0))
    estimated = np.array([p[2] for p in ordered])
    last_of_moment = np.append(np.diff(days) > 0, True)
    return Timeline(days[last_of_moment], life[last_of_moment], estimated[last_of_moment])


def wheel_scale(set_diameter_mm: float, true_diameter_mm: float) -> float:
    """Return by how much a display set to another wheel over-counts: set / true (geometry)."""
    return set_diameter_mm / true_diameter_mm
