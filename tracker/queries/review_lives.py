"""The lives of the whole fleet for the failure review: the record as arrays becomes lives by part type and metric.

Ages come from the same clocks as everywhere (queries/life.py).
"""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from services.odometer import Timeline
from services.review.observed import MONTHS, PartLives, Streams
from tracker.models import PartType
from tracker.queries.review_ground import Ground

Array = np.ndarray
LEAST = 1.0  # a part that failed as it was fitted counts from one km, day, hour or cycle
YEAR = 365.0


class Ages:
    """The age of components on any day in one metric: what their fitments add up to, or what their meter shows."""

    def __init__(self, ground: Ground, metric: str) -> None:
        self.ground, self.metric = ground, metric
        self.first_fitment = np.searchsorted(ground.at, np.arange(len(ground.components) + 1))
        if metric in ("km", "days"):
            self.at_start = self.of_trike(ground.on, ground.start)
            self.gained = self.of_trike(ground.on, ground.end) - self.at_start

    def of_trike(self, trike: Array, day: Array) -> Array:
        """Return (m,) the age of trikes (rows) on days: km by its clock, or days since its life began."""
        if self.metric == "days":
            return np.maximum(day - self.ground.zero[trike], 0.0)
        answer = np.empty(len(day))
        order = np.argsort(trike, kind="stable")
        cuts = np.flatnonzero(np.diff(trike[order])) + 1
        for rows in np.split(order, cuts) if len(order) else []:
            answer[rows] = self.ground.clocks[trike[rows[0]]].life_at(day[rows])
        return answer

    def of(self, component: Array, day: Array) -> Array:
        """Return (m,) what components (rows) ran under watch until days, without what they ran before the record."""
        if self.metric in self.ground.meters:
            lines = self.ground.meters[self.metric]
            return np.array([_on_meter(lines[int(row)], when) for row, when in zip(component, day, strict=True)])
        first, after = self.first_fitment[component], self.first_fitment[component + 1]
        count = after - first
        asked = np.repeat(np.arange(len(component)), count)
        own = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
        when = np.clip(day[asked], self.ground.start[own], self.ground.end[own])
        inside = (when > self.ground.start[own]) & (when < self.ground.end[own])
        ran = np.where(when >= self.ground.end[own], self.gained[own], 0.0)
        ran[inside] = self.of_trike(self.ground.on[own[inside]], when[inside]) - self.at_start[own[inside]]
        return np.bincount(asked, np.maximum(ran, 0.0), minlength=len(component))


def _on_meter(line: Timeline, day: float) -> float:
    """What a meter shows, past its last reading at its own mean pace."""
    span = line.last_day - float(line.days[0])
    return float(line.life_at(day, line.last_km / span if span > 0 else 0.0))


@dataclass(frozen=True)
class _Columns:
    """All pieces under watch in one metric, arrays as in PartLives."""

    rows: Array
    values: dict[str, Array]


def fleet_lives(ground: Ground, metric: str) -> list[PartLives]:
    """Return the lives of every part type in a metric, those with no piece under watch left out."""
    ages = Ages(ground, metric)
    columns = _columns(ground, ages)
    answer = []
    for row, kind in enumerate(ground.part_types):
        own = ground.part_type[columns.rows] == row
        if own.any():
            answer.append(_part(ground, ages, metric, row, kind, columns, own))
    return answer


def _columns(ground: Ground, ages: Ages) -> _Columns:
    rows, starts, ends, trike, is_open = _watched(ground, ages.metric)
    first = ground.first[np.isin(ground.failed_at[ground.first], rows)]  # of each component its first failure
    at = np.searchsorted(rows, ground.failed_at[first])
    failed, stop, looked = np.zeros(len(rows), dtype=bool), ends.copy(), np.full(len(rows), np.nan)
    failed[at], looked[at] = True, ground.looked[first]
    stop[at] = np.clip(ground.failed_on[first], starts[at], ends[at])
    born, known = _born(ground, rows, ages.metric)
    entry, age, end = (born + ages.of(rows, days) for days in (starts, ends, stop))
    end = np.where(failed, np.maximum(end, entry + LEAST), end)
    mode, month, machine = np.full(len(rows), "", dtype=object), np.full(len(rows), -1), trike.copy()
    back = MONTHS - np.searchsorted(ground.bounds, ground.failed_on[first], side="right")
    mode[at], month[at], machine[at] = ground.mode[first], np.where(back < MONTHS, back, -1), ground.failed_trike[first]
    grid = np.stack([born + ages.of(rows, np.full(len(rows), bound)) for bound in ground.bounds], axis=1)
    return _Columns(rows, {
        "component": ground.components[rows], "known": known, "entry": entry, "end": end, "failed": failed,
        "last_good": _last_good(ages, rows, born, looked, entry, end), "mode": mode, "month": month,
        "machine": ground.trikes[machine], "repairs": np.bincount(ground.failed_at, minlength=len(ground.components))[rows],
        "fitted": is_open, "age": age, "at_month": np.clip(grid, entry[:, None], end[:, None]),
        "ahead": np.where(is_open, _ahead(ground, ages, rows, trike), 0.0), "trike": machine,
        "running": ground.running[rows], "accidents": ground.accidents[rows],
    })  # fmt: skip


def _last_good(ages: Ages, rows: Array, born: Array, looked: Array, entry: Array, end: Array) -> Array:
    """(n,) the age at the look before the failure, NaN where there was none within the watch."""
    seen = ~np.isnan(looked)
    answer = np.full(len(rows), np.nan)
    answer[seen] = born[seen] + ages.of(rows[seen], looked[seen])
    return np.where((answer >= entry) & (answer < end), answer, np.nan)


def _watched(ground: Ground, metric: str) -> tuple[Array, Array, Array, Array, Array]:
    """Components (rows) that were fitted, with the first and last day of their watch, the last trike, whether still on it."""
    rows, first = np.unique(ground.at, return_index=True)
    last = np.append(first[1:], len(ground.at)) - 1 if len(rows) else first
    starts, ends = ground.start[first], ground.end[last]
    trike, is_open = ground.on[last], ground.open[last]
    if metric not in ground.meters:
        return rows, starts, ends, trike, is_open
    lines = ground.meters[metric]
    read = np.array([int(row) in lines for row in rows], dtype=bool)
    starts = np.array([max(start, float(lines[int(row)].days[0])) if int(row) in lines else start
                       for row, start in zip(rows, starts, strict=True)])  # fmt: skip
    read &= starts < ends
    return rows[read], starts[read], ends[read], trike[read], is_open[read]


def _born(ground: Ground, rows: Array, metric: str) -> tuple[Array, Array]:
    """(what each ran before the record in this metric, whether that is known): days of an earlier life nobody counted."""
    before = ground.born[rows]
    if metric == "km":
        return np.nan_to_num(before), ~np.isnan(before)
    if metric == "days":
        return np.zeros(len(rows)), before == 0.0
    return np.zeros(len(rows)), np.ones(len(rows), dtype=bool)  # a meter shows the whole life


def ages_on(ground: Ground, part: PartLives, day: Array) -> Array:
    """Return (n,) the age of each piece of a part type on a day of its own (n,); inf stays inf: a day that never came."""
    rows = np.searchsorted(ground.components, part.component)
    born, _ = _born(ground, rows, part.metric)
    came = np.isfinite(day)
    ages = np.full(len(rows), np.inf)
    ages[came] = born[came] + Ages(ground, part.metric).of(rows[came], day[came])
    return ages


def _ahead(ground: Ground, ages: Ages, rows: Array, trike: Array) -> Array:
    """(n,) what each runs in the next 12 months, where it sits now."""
    if ages.metric == "days":
        return np.full(len(rows), YEAR)
    now, then = np.full(len(rows), ground.until), np.full(len(rows), ground.until + YEAR)
    of = ages.of if ages.metric in ground.meters else ages.of_trike
    who = rows if ages.metric in ground.meters else trike
    return np.maximum(of(who, then) - of(who, now), 0.0)


def _part(
    ground: Ground, ages: Ages, metric: str, row: int, kind: PartType, columns: _Columns, own: Array
) -> PartLives:
    values: dict[str, Any] = {name: column[own] for name, column in columns.values.items()}
    rows, trike = columns.rows[own], values.pop("trike")
    groups = {name: labels[rows] for name, labels in ground.labels.items()}
    groups |= {name: labels[trike] for name, labels in ground.trike_labels.items()}
    running = int(values.pop("running").sum())
    return PartLives(
        part_type=kind.pk, kind=kind.kind, maker=kind.maker, name=kind.name, metric=metric, running=running,
        groups={name: labels.astype(str) for name, labels in groups.items()}, streams=_streams(ground, ages, row),
        **values | {"mode": values["mode"].astype(str)},
    )  # fmt: skip


def _streams(ground: Ground, ages: Ages, row: int) -> Streams:
    """The positions in which pieces of a part type sat, and their repairs, by the age of the trike."""
    nothing = np.empty(0)
    if ages.metric in ground.meters:
        return Streams(nothing, nothing, nothing.astype(int), nothing)
    own = np.flatnonzero(ground.part_type[ground.at] == row)
    places, window = np.unique(
        np.array([f"{ground.on[f]}/{ground.position[f]}" for f in own], dtype=str), return_inverse=True
    )
    start, end = np.full(len(places), np.inf), np.full(len(places), -np.inf)
    np.minimum.at(start, window, ages.at_start[own])
    np.maximum.at(end, window, ages.at_start[own] + ages.gained[own])
    ran = end > start
    place = np.cumsum(ran) - 1
    at, age = _repairs(ground, ages, row, own, window)
    kept = ran[at]
    at, age = at[kept], age[kept]
    first = start[at] + np.minimum(1e-6, 1e-3 * (end[at] - start[at]))
    return Streams(start[ran], end[ran], place[at], np.clip(age, first, end[at]))


def _repairs(ground: Ground, ages: Ages, row: int, own: Array, window: Array) -> tuple[Array, Array]:
    """(window, age of the trike) of each failure of a part type, by the fitment in which it happened."""
    failures = np.flatnonzero(ground.part_type[ground.failed_at] == row)
    of_fitment = {int(f): int(w) for f, w in zip(own, window, strict=True)}
    at, kept = [], []
    for k in failures:
        fitments = range(*ages.first_fitment[ground.failed_at[k] : ground.failed_at[k] + 2])
        begun = [f for f in fitments if ground.start[f] <= ground.failed_on[k]]
        if begun:
            at.append(of_fitment[begun[-1]])
            kept.append((ground.on[begun[-1]], min(ground.failed_on[k], ground.end[begun[-1]])))
    if not at:
        return np.empty(0, dtype=int), np.empty(0)
    on, day = (np.array(column) for column in zip(*kept, strict=True))
    return np.array(at), ages.of_trike(on.astype(int), day.astype(float))


def first_of_month(today: date) -> date:
    """Return the first day of the running month: lives count up to its start."""
    return today.replace(day=1)
