"""The record as arrays for the failure review: components, fitments, failures, looks and meters, in a fixed number of queries.

Background work only, unless asked for a few part types: it reads the whole record.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
from django.db.models import Q

from services.odometer import Timeline, build_timeline
from services.review.observed import MONTHS
from tracker.models import Completion, Component, Failure, Fitment, Measurement, MeterReading, PartType, Trike
from tracker.queries.clock import day_of
from tracker.queries.fleet_numbers import METERS
from tracker.queries.life import TrikeClock, clocks_of

Array = np.ndarray
LOOKED_APART = 0.5  # days: a check on the day it was found is not an earlier one
ACCIDENT = "accident"  # what fell or was hit says nothing of the part: it had survived until then
FOUND_BY_LOOKING = ("service", "inspection", "measurement")  # between two looks nobody knows when it failed
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
        labels=_labels(rows), trikes=trike_ids, trike_labels=_trike_labels(trikes),
        clocks=[clocks[pk] for pk in trike_ids.tolist()], zero=zero,
        **_fitments(ids, trike_ids, zero, gone, day, asked), **_failures(ids, trike_ids, day, asked),
        meters=_meters(ids, day, asked),
    )  # fmt: skip


def _carrying(asked: Q) -> Q:
    """Trikes on which such a piece sat or failed."""
    return Q(pk__in=Fitment.objects.filter(asked).values("trike")) | Q(
        pk__in=Failure.objects.filter(asked).values("trike")
    )


def _labels(rows: list[tuple[Any, ...]]) -> dict[str, Array]:
    """Batch, firmware and year of each component."""
    return {
        "batch": np.array([row[2] for row in rows], dtype=object),
        "firmware": np.array([row[3] for row in rows], dtype=object),
        "made_year": np.array([str(row[4].year) if row[4] else "" for row in rows], dtype=object),
    }


def _trike_labels(trikes: list[tuple[Any, ...]]) -> dict[str, Array]:
    """Model of each trike, and how it is ridden."""
    return {
        "model": np.array([row[1] for row in trikes], dtype=object),
        "severity": np.array([_severity(row[2]) for row in trikes], dtype=object),
    }


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
