"""Measurements of one quantity on one part, made ready for reckoning: along its axis, with what was set, life by life."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from services.odometer import build_timeline
from services.wear_dates import points_of
from services.wear_kinds import Facts, Reading, WearKind
from services.wear_model import Point


@dataclass(frozen=True)
class Taken:
    """One measurement as it was written down: the day, the value in the quantity's unit, what was noted beside."""

    day: float
    value: float
    context: Facts


@dataclass(frozen=True)
class Track:
    """The measurements of one quantity on one part in time order.

    days: when each was taken. reckoned: the same readings with work that renewed the part unmeasured taken out of the axis.
    began: where the present life began, on the axis of `reckoned`; None where the part's age is not known.
    """

    kind: WearKind
    rated: Facts
    readings: tuple[Reading, ...]
    reckoned: tuple[Reading, ...]
    days: tuple[float, ...]
    began: float | None

    @property
    def points(self) -> list[Point]:
        """What it teaches the fleet: nothing where the part's age is not known."""
        if self.began is None:
            return []
        return points_of(self.kind, self.reckoned, self.rated, self.began)[0]


def track_of(
    kind: WearKind, taken: Sequence[Taken], *, rated: Facts, at: Sequence[float], began: float | None,
    cycles: Sequence[float], renewed_on: Sequence[float] = (),
) -> Track:  # fmt: skip
    """Return the track of measurements in time order.

    at: where each stands on the kind's axis (life km, or the day); cycles: charge cycles at each; renewed_on: days of work
    after which the quantity began anew, measured that day or not.
    """
    renewing = {int(day) for day in renewed_on}
    readings = tuple(
        Reading(place, one.value, context=context, cycles=count, renewed=int(one.day) in renewing)
        for one, place, context, count in zip(taken, at, with_what_was_set(kind, taken), cycles, strict=True)
    )
    reckoned, shifted = without_unmeasured(readings, began, renewed_on)
    return Track(kind, rated, readings, reckoned, tuple(one.day for one in taken), shifted)


def with_what_was_set(kind: WearKind, taken: Sequence[Taken]) -> list[dict[str, object]]:
    """Return each context, with the values that hold until they are noted again (what it was set to, its height when new)."""
    held: dict[str, object] = {}
    contexts = []
    for one in taken:
        held |= {name: one.context[name] for name in kind.holds if name in one.context}
        contexts.append({**held, **one.context})
    return contexts


def without_unmeasured(
    readings: tuple[Reading, ...], began: float | None, renewed_on: Sequence[float]
) -> tuple[tuple[Reading, ...], float | None]:
    """Return (readings, began) without the time between a measurement and the next unmeasured renewal, which taught nothing.

    What lies before moves up to the renewal. Within each life the distances stay; lives are independent of each other.
    """
    if began is None or not renewed_on:
        return readings, began
    measured = {int(reading.at) for reading in readings}
    moved, start = list(readings), began
    for day in sorted(day for day in renewed_on if int(day) not in measured):
        before = [place for place, reading in enumerate(readings) if reading.at < day]
        if not before:
            start = max(start, day)
            continue
        gap = max(day - moved[before[-1]].at, 0.0)
        for place in before:
            ends_life = moved[place].renewed or place == before[-1]
            moved[place] = replace(moved[place], at=moved[place].at + gap, renewed=ends_life)
        start += gap
    return tuple(moved), start


def aging_since(measured_first: float, *, fitted_first: float | None, made: float | None) -> float:
    """Return the day a part began to age: when first fitted; never fitted, when made; never after it was first measured."""
    known = next((day for day in (fitted_first, made) if day is not None), measured_first)
    return min(known, measured_first)


def cycles_at(days: Sequence[float], meter: Sequence[tuple[float, float]], fitted_first: float | None) -> list[float]:
    """Return the charge cycles since new on these days, from the (day, value) pairs of its meter; 0 where it has none."""
    if not meter:
        return [0.0] * len(days)
    start = meter[0][0] if fitted_first is None else fitted_first
    line = build_timeline([day for day, _ in meter], [value for _, value in meter], (), zero_day=start)
    return [float(line.life_at(day)) for day in days]
