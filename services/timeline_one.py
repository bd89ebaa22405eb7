"""All readings of one trike, judged together: what each is taken for, why, what else it may have been, and the timeline."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.odometer import DisplayChange, Timeline, monotone
from services.reading_meanings import Meaning, Neighbour, Rider, meanings
from services.season import season_clock
from services.timeline_costs import LABELS, OK, OUTLIER, SCALES
from services.timeline_paths import Labels, label_fleet
from services.timeline_rows import UNDECIDED, Machines, Readings, Swaps, displays_of, swap_order, usable
from services.units import say_distance, to_km

ASK_ABOVE, SURE_ABOVE = 0.3, 0.9  # chances of being wrong between which a person is asked; own choice, measured
_DECIDED = {"accepted": OK, "rejected": OUTLIER, "km_as_miles": 1, "miles_as_km": 2}


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


@dataclass(frozen=True)
class _Trike:
    readings: Readings
    swaps: Swaps
    machines: Machines
    labels: Labels
    fleet: FleetRates
    values: list[float]
    units: list[str]
    now_day: float

    def judged(self, at: int) -> Judged:
        """What one reading is taken for."""
        labels, decided = self.labels, int(self.readings.decided[at])
        label, p_wrong = int(labels.label[at]), float(labels.p_wrong[at])
        used = label != OUTLIER
        barred = decided != OUTLIER and not usable(self.readings, self.machines, self.now_day)[at]
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
        return after is None and float(self.readings.km[at]) + self._offset(at) < before.km

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
        offset = self._offset(at)
        rider = Rider(float(self.labels.rate[0]), float(self.labels.spread[0]), bool(self.machines.southern[0]))
        own = float(self.readings.day[at])
        around = [before] if after is None else [before, after]
        return meanings(
            self.values[at], self.units[at], max(own, before.day), bool(self.readings.owner[at]), around, rider,
            self.fleet, offset=offset,
        )  # fmt: skip

    def _began_anew(self, at: int) -> tuple[Meaning, ...]:
        chance = float(self.labels.p_reset[at])
        if chance < 1 - SURE_ABOVE:
            return ()
        return (Meaning("display_reset", float(self.readings.km[at]), chance, "the display was swapped or reset"),)

    def _offset(self, at: int) -> float:
        return float(displays_of(self.readings, self.swaps, self.machines).offset[at])

    def _neighbours(self, at: int) -> tuple[Neighbour, Neighbour | None]:
        """The believed readings of the same display before and after it, in the count that announced swaps add up to."""
        shows = displays_of(self.readings, self.swaps, self.machines)
        km = self.readings.km * np.append(SCALES, 0.0)[self.labels.label] + shows.offset
        day = np.maximum(self.readings.day, self.machines.zero_day[0])
        resets = np.sort(day[self.labels.reset])
        run = shows.run + np.searchsorted(resets, day, side="right")
        believed = (self.labels.label != OUTLIER) & (run == run[at])
        believed[at] = False
        before = np.flatnonzero(believed & ((day < day[at]) | ((day == day[at]) & (km <= km[at]))))
        after = np.flatnonzero(believed & (day > day[at]))
        if len(before):
            pick = before[np.lexsort((km[before], day[before]))[-1]]
            first = Neighbour(float(day[pick]), float(km[pick]), bool(self.readings.owner[pick]))
        else:
            begins = shows.run[at] == 0
            start = float(self.machines.zero_km[0]) if begins else float(shows.run_start[at])
            first = Neighbour(float(shows.run_day[at]), start, handover=True)
        if not len(after):
            return first, None
        pick = after[np.lexsort((km[after], day[after]))[0]]
        return first, Neighbour(float(day[pick]), float(km[pick]), bool(self.readings.owner[pick]))

    def timeline(self) -> Timeline:
        """Life at the handover, at every believed reading and at every announced swap."""
        zero = float(self.machines.zero_day[0])
        shows = displays_of(self.readings, self.swaps, self.machines)
        count = self.readings.km * np.append(SCALES, 0.0)[self.labels.label] + shows.offset
        # (day, life, whether it is a guess, what the displays add up to)
        points = [(zero, 0.0, False, float(self.machines.zero_km[0]))]
        for at in np.flatnonzero(self.labels.label != OUTLIER):
            day = max(float(self.readings.day[at]), zero)
            points.append((day, float(self.labels.life_km[at]), bool(self.labels.estimated[at]), float(count[at])))
        offset = 0.0
        for at in swap_order(self.swaps, self.machines):
            day, old, new = (
                float(column[at]) for column in (self.swaps.day, self.swaps.old_final, self.swaps.new_start)
            )
            before = max(point for point in points if point[0] < day)
            if math.isnan(old):
                points.append((day, before[1] + self._ridden(before[0], day), True, new + offset))
            else:
                points.append((day, before[1] + max(old + offset - before[3], 0.0), False, old + offset))
                offset += old - new
        return monotone([point[:3] for point in points])

    def _ridden(self, start: float, end: float) -> float:
        """km this rider is expected to have run from one day to another."""
        clock = season_clock(self.fleet.months, np.array([start, end]), bool(self.machines.southern[0]))
        return math.exp(float(self.labels.rate[0])) * float(clock[1] - clock[0])
