"""All readings of one trike, judged together: what each is taken for, why, what else it may have been, and the timeline."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from services.fleet_rates import FleetRates
from services.odometer import DisplayChange, Timeline, monotone
from services.reading_meanings import Meaning, Neighbour, Rider, meanings
from services.season import season_clock
from services.timeline_costs import KM_AS_MILES, LABELS, MILES_AS_KM, OK, OUTLIER, SCALES
from services.timeline_paths import Labels, label_fleet
from services.timeline_rows import (
    UNDECIDED,
    Displays,
    Machines,
    Readings,
    Swaps,
    days_in_life,
    displays_of,
    swap_order,
    usable,
)
from services.units import say_distance, to_km

ASK_ABOVE, SURE_ABOVE = 0.3, 0.9  # chances of being wrong between which a person is asked; own choice, measured
_DECIDED = {"accepted": OK, "rejected": OUTLIER, "km_as_miles": KM_AS_MILES, "miles_as_km": MILES_AS_KM}


@dataclass(frozen=True)
class Judged:
    """One reading. status: 'accepted', 'corrected', 'rejected', 'reset', 'to confirm' or 'set aside' (a hard rule);

    label: of timeline_costs.LABELS; p_wrong, p_reset: chances; life_km: None where it is not used; reason: for the desk, ''
    when there is nothing to say; meanings: what else it may have been.
    """

    status: str
    label: str
    p_wrong: float
    p_reset: float
    life_km: float | None
    reason: str
    meanings: tuple[Meaning, ...]


@dataclass(frozen=True)
class TrikeReadings:
    """The readings in the order they were given, and the timeline they tell."""

    readings: tuple[Judged, ...]
    timeline: Timeline


def label_readings(
    days: Sequence[float], values: Sequence[float], sources: Sequence[str], *, zero_day: float, fleet: FleetRates,
    zero_km: float = 0.0, units: Sequence[str] | None = None, changes: Sequence[DisplayChange] = (),
    southern: bool = False, verdicts: Sequence[str] | None = None, now_day: float = np.inf,
) -> TrikeReadings:  # fmt: skip
    """Judge all readings of one trike. Rows may come in any order; the same rows give the same timeline.

    values as typed, in `units` ('km' or 'mi', km if None); sources: 'owner' or anything else; verdicts: what a person
    decided, '' for nothing, 'accepted', 'rejected', 'km_as_miles' or 'miles_as_km'. Life is 0 on `zero_day` at `zero_km`.
    """
    count = len(days)
    units = list(units) if units is not None else ["km"] * count
    decided = [_DECIDED.get(word, UNDECIDED) for word in (verdicts if verdicts is not None else [""] * count)]
    readings = Readings(
        np.zeros(count, dtype=np.int64), np.array(days, dtype=float),
        np.array([to_km(float(value), unit) for value, unit in zip(values, units, strict=True)], dtype=float),
        np.array([source == "owner" for source in sources], dtype=bool), np.array(decided, dtype=np.int64),
    )  # fmt: skip
    swaps = Swaps(
        np.zeros(len(changes), dtype=np.int64), np.array([float(c.day) for c in changes]),
        np.array([np.nan if c.old_final_km is None else c.old_final_km for c in changes]),
        np.array([float(c.new_start_km) for c in changes]),
    )  # fmt: skip
    machines = Machines(np.array([float(zero_day)]), np.array([float(zero_km)]), np.array([southern]))
    labels = label_fleet(readings, swaps, machines, fleet, now_day)
    trike = _Trike(readings, swaps, machines, labels, fleet, [float(value) for value in values], units, now_day)
    return TrikeReadings(tuple(trike.judged(at) for at in range(count)), trike.timeline())


class _Point(NamedTuple):
    """A point of the timeline: day, life, whether that is a guess, and what the displays add up to (km)."""

    day: float
    life: float
    is_guess: bool
    count: float


@dataclass(frozen=True)
class _Trike:
    """One trike with its labels; the arrays below are (n,), in the order of its readings."""

    readings: Readings
    swaps: Swaps
    machines: Machines
    labels: Labels
    fleet: FleetRates
    values: list[float]
    units: list[str]
    now_day: float

    @cached_property
    def days(self) -> np.ndarray:
        """The day of each reading, none before the handover."""
        return days_in_life(self.readings, self.machines)

    @cached_property
    def shows(self) -> Displays:
        """The display that each reading was taken from."""
        return displays_of(self.readings, self.swaps, self.machines)

    @cached_property
    def count(self) -> np.ndarray:
        """km of each reading as labelled, in the count that announced swaps add up to."""
        return self.readings.km * np.append(SCALES, 0.0)[self.labels.label] + self.shows.offset

    @cached_property
    def is_usable(self) -> np.ndarray:
        """Whether a hard rule lets the reading be used, (n,) bool."""
        return usable(self.readings, self.machines, self.now_day)

    def judged(self, at: int) -> Judged:
        """What one reading is taken for."""
        labels, decided = self.labels, int(self.readings.decided[at])
        label, p_wrong = int(labels.label[at]), float(labels.p_wrong[at])
        used = label != OUTLIER
        barred = decided != OUTLIER and not self.is_usable[at]
        status = "set aside" if barred else self._status(at, label, p_wrong, decided)
        asks = status in {"corrected", "rejected", "to confirm"} and decided == UNDECIDED
        found = (*self._meanings(at), *self._began_anew(at)) if asks else ()
        return Judged(
            status, LABELS[label], p_wrong, float(labels.p_reset[at]), float(labels.life_km[at]) if used else None,
            self._reason(at, status, found), found,
        )  # fmt: skip

    def _status(self, at: int, label: int, p_wrong: float, decided: int) -> str:
        if decided == UNDECIDED and (ASK_ABOVE < p_wrong < SURE_ABOVE or self._fell_last(at, label)):
            return "to confirm"
        if label == OUTLIER:
            return "rejected"
        if label != OK:
            return "corrected"
        return "reset" if self.labels.reset[at] else "accepted"

    def _fell_last(self, at: int, label: int) -> bool:
        """Whether it is below the display's last believed value with nothing after it: a slip, or the display began anew."""
        if label != OUTLIER:
            return False
        before, after = self._neighbours(at)
        return after is None and self.readings.km[at] + self.shows.offset[at] < before.km

    def _reason(self, at: int, status: str, found: tuple[Meaning, ...]) -> str:
        said = say_distance(self.readings.km[at], self.units[at])
        if status == "set aside":
            return f"{said} is dated before the handover or after today, or is no distance a trike can show."
        if status == "reset":
            return f"{said} is below the reading before: the display began anew, and the readings after it agree."
        if status == "accepted":
            return ""
        likely = f"; {found[0].words}" if found else ""
        return f"{said} does not fit this rider's other readings{likely}."

    def _meanings(self, at: int) -> tuple[Meaning, ...]:
        before, after = self._neighbours(at)
        rider = Rider(float(self.labels.rate[0]), float(self.labels.spread[0]), bool(self.machines.southern[0]))
        own = float(self.readings.day[at])
        around = [before] if after is None else [before, after]
        return meanings(
            self.values[at], self.units[at], max(own, before.day), bool(self.readings.owner[at]), around, rider,
            self.fleet, offset=float(self.shows.offset[at]),
        )  # fmt: skip

    def _began_anew(self, at: int) -> tuple[Meaning, ...]:
        chance = float(self.labels.p_reset[at])
        if chance < 1 - SURE_ABOVE:
            return ()
        return (Meaning("display_reset", float(self.readings.km[at]), chance, "the display was swapped or reset"),)

    def _neighbours(self, at: int) -> tuple[Neighbour, Neighbour | None]:
        """The believed readings of the same display before and after it, in the count that announced swaps add up to."""
        km, day = self.count, self.days
        resets = np.sort(day[self.labels.reset])
        run = self.shows.run + np.searchsorted(resets, day, side="right")
        believed = (self.labels.label != OUTLIER) & (run == run[at])
        believed[at] = False
        order = np.lexsort((km, day))
        before = order[(believed & ((day < day[at]) | ((day == day[at]) & (km <= km[at]))))[order]]
        after = order[(believed & (day > day[at]))[order]]
        first = self._believed(before[-1]) if len(before) else self._beginning(at)
        return first, self._believed(after[0]) if len(after) else None

    def _believed(self, at: int) -> Neighbour:
        return Neighbour(float(self.days[at]), float(self.count[at]), bool(self.readings.owner[at]))

    def _beginning(self, at: int) -> Neighbour:
        """Where the display of a reading began: at the handover, or at a swap whose old display nobody read."""
        is_first = self.shows.run[at] == 0
        start = self.machines.zero_km[0] if is_first else self.shows.run_start[at]
        return Neighbour(float(self.shows.run_day[at]), float(start), handover=True)

    def timeline(self) -> Timeline:
        """Life at the handover, at every believed reading and at every announced swap."""
        labels = self.labels
        points = [_Point(float(self.machines.zero_day[0]), 0.0, False, float(self.machines.zero_km[0]))]
        for at in np.flatnonzero(labels.label != OUTLIER):
            points.append(
                _Point(
                    float(self.days[at]), float(labels.life_km[at]), bool(labels.estimated[at]), float(self.count[at])
                )
            )
        offset = 0.0
        for at in swap_order(self.swaps, self.machines):
            day, old, new = (
                float(column[at]) for column in (self.swaps.day, self.swaps.old_final, self.swaps.new_start)
            )
            before = max(point for point in points if point.day < day)
            if math.isnan(old):
                points.append(_Point(day, before.life + self._ridden(before.day, day), True, new + offset))
            else:
                ridden = max(old + offset - before.count, 0.0)
                points.append(_Point(day, before.life + ridden, False, old + offset))
                offset += old - new
        return monotone([point[:3] for point in points])

    def _ridden(self, start: float, end: float) -> float:
        """km this rider is expected to have run from one day to another."""
        clock = season_clock(self.fleet.months, np.array([start, end]), bool(self.machines.southern[0]))
        return math.exp(float(self.labels.rate[0])) * float(clock[1] - clock[0])
