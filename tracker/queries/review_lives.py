"""The lives of the whole fleet for the failure review: rows become arrays by part type, in a fixed number of queries.

Ages come from the same clocks as everywhere (queries/life.py). Background work only, unless asked for a few part types: it
reads the whole record.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

import numpy as np
from django.db.models import Q

from services.odometer import Timeline, build_timeline
from services.review.observed import MONTHS, PartLives, Streams
from tracker.models import Completion, Component, Failure, Fitment, Measurement, MeterReading, PartType, Trike
from tracker.queries.clock import day_of
from tracker.queries.fleet_numbers import METERS
from tracker.queries.life import TrikeClock, clocks_of

Array = np.ndarray
LEAST = 1.0  # a part that failed as it was fitted counts from one km, day, hour or cycle
LOOKED_APART = 0.5  # days: a check on the day it was found is not an earlier one
ACCIDENT = "accident"  # what fell or was hit says nothing of the part: it had survived until then
FOUND_BY_LOOKING = ("service", "inspection", "measurement")  # between two looks nobody knows when it failed
YEAR = 365.0
SEVERITIES = ((0.9, "on dry tarmac"), (0.6, "in the wet or on winter salt"), (0.0, "on sand or gravel, or loaded"))


@dataclass(frozen=True)
class Ground:
    """The record as arrays, in any metric: components (n), fitments (f) and failures (k) until the end of the review.

    Rows of components, trikes and part types are places in `components`, `trikes`, `part_types`. Days as services count them.
    """

    until: float
    bounds: Array  # (MONTHS + 1,) starts of the last months, and the end
    part_types: list[PartType]
    components: Array  # (n,) ids, rising
    part_type: Array  # (n,) row of its part type
    born: Array  # (n,) km run before the record, NaN: nobody knows
    labels: dict[str, Array]  # batch, firmware, made_year (n,)
    trikes: Array  # (t,) ids, rising
    trike_labels: dict[str, Array]  # model, severity (t,)
    clocks: list[TrikeClock]  # (t,)
    zero: Array  # (t,) day its life began
    at: Array  # (f,) row of the component
    on: Array  # (f,) row of the trike
    position: Array  # (f,)
    start: Array  # (f,) day, not before the trike's life began
    end: Array  # (f,) day, at most the end of the review
    open: Array  # (f,) still there then
    failed_at: Array  # (k,) row of the component
    failed_on: Array  # (k,) day
    failed_trike: Array  # (k,)
    mode: Array  # (k,)
    looked: Array  # (k,) day of the look before, NaN: known to the moment
    running: Array  # (n,) failures since the end of the review
    accidents: Array  # (n,) failures by accident, which are no failures of the part
    meters: dict[str, dict[int, Timeline]]  # hours, cycles: row of the component -> its meter

    @cached_property
    def first(self) -> Array:
        """(k',) rows of failures that were the first of their component, by component."""
        order = np.lexsort((self.failed_on, self.failed_at))
        _, begin = np.unique(self.failed_at[order], return_index=True)
        return order[begin]


def read_ground(until: date, only: Collection[int] = ()) -> Ground:
    """Return the record up to the start of the day `until`, the first of a month; `only`: of these part types."""
    day = float(until.toordinal())
    asked = Q(component__part_type__in=only) if only else Q()
    part_types = list(PartType.objects.filter(Q(pk__in=only) if only else Q()).order_by("pk"))
    rows = list(
        Component.objects.filter(Q(part_type__in=only) if only else Q())
        .order_by("pk")
        .values_list("pk", "part_type_id", "batch", "firmware", "made_on", "life_before_km")
    )
    ids = np.array([row[0] for row in rows], dtype=np.int64)
    type_ids = np.array([kind.pk for kind in part_types], dtype=np.int64)
    told = Trike.objects.filter(_carrying(asked)) if only else Trike.objects.all()
    trikes = list(told.order_by("pk").values_list("pk", "model", "severity", "stolen_on"))
    trike_ids = np.array([row[0] for row in trikes], dtype=np.int64)
    clocks = clocks_of(trike_ids.tolist())
    zero = np.array([clocks[pk].zero_day for pk in trike_ids.tolist()])
    gone = np.array([np.inf if row[3] is None else float(row[3].toordinal()) for row in trikes])
    return Ground(
        until=day, bounds=_bounds(until), part_types=part_types, components=ids,
        part_type=np.searchsorted(type_ids, [row[1] for row in rows]),
        born=np.array([np.nan if row[5] is None else row[5] for row in rows], dtype=float),
        labels={
            "batch": np.array([row[2] for row in rows], dtype=object),
            "firmware": np.array([row[3] for row in rows], dtype=object),
            "made_year": np.array([str(row[4].year) if row[4] else "" for row in rows], dtype=object),
        },
        trikes=trike_ids,
        trike_labels={
            "model": np.array([row[1] for row in trikes], dtype=object),
            "severity": np.array([_severity(row[2]) for row in trikes], dtype=object),
        },
        clocks=[clocks[pk] for pk in trike_ids.tolist()], zero=zero,
        **_fitments(ids, trike_ids, zero, gone, day, asked), **_failures(ids, trike_ids, day, asked),
        meters=_meters(ids, day, asked),
    )  # fmt: skip


def _carrying(asked: Q) -> Q:
    """Trikes on which such a piece sat or failed."""
    return Q(pk__in=Fitment.objects.filter(asked).values("trike")) | Q(
        pk__in=Failure.objects.filter(asked).values("trike")
    )


def _bounds(until: date) -> Array:
    months = [until.year * 12 + until.month - 1 - back for back in range(MONTHS, -1, -1)]
    return np.array([float(date(month // 12, month % 12 + 1, 1).toordinal()) for month in months])


def _severity(factor: float) -> str:
    return next(words for least, words in SEVERITIES if factor >= least)


def _fitments(ids: Array, trike_ids: Array, zero: Array, gone: Array, day: float, asked: Q) -> dict[str, Array]:
    """Columns of the fitments that began before the end, `day`; gone (t,): the day a trike was stolen."""
    rows = list(
        Fitment.objects.filter(asked)
        .order_by("component_id", "fitted_at", "pk")
        .values_list("component_id", "trike_id", "position", "fitted_at", "removed_at")
    )
    at = np.searchsorted(ids, np.array([row[0] for row in rows], dtype=np.int64))
    on = np.searchsorted(trike_ids, np.array([row[1] for row in rows], dtype=np.int64))
    start = np.maximum(np.array([day_of(row[3]) for row in rows], dtype=float), zero[on] if rows else 0.0)
    removed = np.array([np.inf if row[4] is None else day_of(row[4]) for row in rows], dtype=float)
    end = np.minimum(np.minimum(removed, gone[on]), day)
    kept = end > start
    return {
        "at": at[kept], "on": on[kept], "position": np.array([row[2] for row in rows], dtype=object)[kept],
        "start": start[kept], "end": end[kept], "open": (end == day)[kept],
    }  # fmt: skip


def _failures(ids: Array, trike_ids: Array, day: float, asked: Q) -> dict[str, Array]:
    rows = list(
        Failure.objects.filter(asked)
        .order_by("happened_at", "pk")
        .values_list("component_id", "happened_at", "trike_id", "mode", "found", "cause")
    )
    hit = [row for row in rows if row[5] == ACCIDENT]
    rows = [row for row in rows if row[5] != ACCIDENT]
    at = np.searchsorted(ids, np.array([row[0] for row in rows], dtype=np.int64))
    on = np.array([day_of(row[1]) for row in rows], dtype=float)
    old = on < day
    found = np.array([row[4] in FOUND_BY_LOOKING for row in rows], dtype=bool)
    return {
        "failed_at": at[old], "failed_on": on[old],
        "failed_trike": np.searchsorted(trike_ids, np.array([row[2] for row in rows], dtype=np.int64))[old],
        "mode": np.array([row[3] for row in rows], dtype=object)[old],
        "looked": _looked(ids, at, on, found)[old],
        "running": np.bincount(at[~old], minlength=len(ids)),
        "accidents": np.bincount(
            np.searchsorted(ids, np.array([row[0] for row in hit], dtype=np.int64)), minlength=len(ids)
        ),
    }  # fmt: skip


def _looked(ids: Array, at: Array, on: Array, found: Array) -> Array:
    """(k,) the day of the last check of that part before it was found, NaN where there is none or the moment is known."""
    looks: dict[int, list[float]] = defaultdict(list)
    asked = [int(pk) for pk in ids[at[found]]]
    if asked:
        done = Completion.objects.filter(component_id__in=asked).order_by().values_list("component_id", "done_at")
        taken = Measurement.objects.filter(component_id__in=asked).order_by().values_list("component_id", "taken_at")
        for pk, moment in [*done, *taken]:
            looks[pk].append(day_of(moment))
    answer = np.full(len(at), np.nan)
    for row in np.flatnonzero(found):
        earlier = [day for day in looks[int(ids[at[row]])] if day < on[row] - LOOKED_APART]
        answer[row] = max(earlier, default=np.nan)
    return answer


def _meters(ids: Array, day: float, asked: Q) -> dict[str, dict[int, Timeline]]:
    """Each meter that was read before the end, as a line through its readings; one reading begins its watch."""
    told: dict[tuple[str, int], list[tuple[float, float]]] = defaultdict(list)
    names = {meter: name for name, meter in METERS.items()}
    rows = MeterReading.objects.filter(asked).order_by("component_id", "read_at", "pk")
    for pk, meter, read_at, value in rows.values_list("component_id", "meter", "read_at", "value"):
        if (read := day_of(read_at)) < day and meter in names:
            told[names[meter], pk].append((read, value))
    answer: dict[str, dict[int, Timeline]] = {name: {} for name in METERS}
    for (name, pk), points in told.items():
        line = build_timeline([d for d, _ in points], [v for _, v in points], (), zero_day=points[0][0])
        answer[name][int(np.searchsorted(ids, pk))] = line
    return answer


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
    n = len(ground.components)
    first = ground.first[np.isin(ground.failed_at[ground.first], rows)]
    place = np.full(n, -1)
    place[rows] = np.arange(len(rows))
    at = place[ground.failed_at[first]]
    failed = np.zeros(len(rows), dtype=bool)
    failed[at] = True
    stop = ends.copy()
    stop[at] = np.minimum(np.maximum(ground.failed_on[first], starts[at]), ends[at])
    begun = ages.of(rows, starts)
    born, known = _born(ground, rows, ages.metric)
    entry = born + begun
    age = born + ages.of(rows, ends)
    end = born + ages.of(rows, stop)
    end = np.where(failed, np.maximum(end, entry + LEAST), end)
    looked = np.full(len(rows), np.nan)
    looked[at] = ground.looked[first]
    seen = ~np.isnan(looked)
    last_good = np.full(len(rows), np.nan)
    last_good[seen] = born[seen] + ages.of(rows[seen], looked[seen])
    last_good = np.where((last_good >= entry) & (last_good < end), last_good, np.nan)
    mode, month = np.full(len(rows), "", dtype=object), np.full(len(rows), -1)
    mode[at] = ground.mode[first]
    back = MONTHS - np.searchsorted(ground.bounds, ground.failed_on[first], side="right")
    month[at] = np.where(back < MONTHS, back, -1)
    machine = trike.copy()
    machine[at] = ground.failed_trike[first]
    grid = np.stack([born + ages.of(rows, np.full(len(rows), bound)) for bound in ground.bounds], axis=1)
    return _Columns(rows, {
        "component": ground.components[rows], "known": known, "entry": entry, "end": end, "failed": failed,
        "last_good": last_good, "mode": mode, "month": month, "machine": ground.trikes[machine],
        "repairs": np.bincount(ground.failed_at, minlength=n)[rows], "fitted": is_open, "age": age,
        "at_month": np.clip(grid, entry[:, None], end[:, None]),
        "ahead": np.where(is_open, _ahead(ground, ages, rows, trike), 0.0), "trike": machine,
        "running": ground.running[rows], "accidents": ground.accidents[rows],
    })  # fmt: skip


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


def month_before(until: date) -> date:
    """Return the first day of the last full month."""
    return (until - timedelta(days=1)).replace(day=1)
