"""Wear of a component from its signed measurements: what it came to, when it meets its limit, or what to measure next."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from services.forecast import date_of
from services.kinds import quantity as quantity_of
from services.odometer import build_timeline
from services.wear_dates import Riding, WearForecast, foresee, points_of
from services.wear_fit import fit_fleet
from services.wear_kinds import WEAR_KINDS, Reading, WearKind
from services.wear_model import Point, Values, series_of
from services.wear_words import words
from tracker.models import Completion, Component, Measurement
from tracker.queries.clock import date_of_day, day_of, day_of_date
from tracker.queries.life import ComponentRun, meters_of, runs_of

RENEWS = {
    "shock_pressure": ("shock_air_check", "shock_air_can_service", "shock_full_service")
}  # each sets the air anew
HORIZON_DAYS = 10 * 365.25  # after the last reading of the distance
MOST_PARTS = 200  # a quantity's values are fitted to the parts measured last
BESIDE_WORDS = {
    "set_kpa": "the pressure it is set to", "temperature_c": "the temperature", "new_height_mm": "its height when new",
}  # fmt: skip


@dataclass(frozen=True)
class Track:
    """The measurements of one quantity on one part in time order, as services/ takes them.

    taken: day number of each. reckoned: the same readings with work that renewed the part unmeasured taken out of the axis.
    began: where the present life began, on the axis of `reckoned`; None where the part's age is not known.
    """

    kind: WearKind
    rated: dict[str, Any]
    readings: tuple[Reading, ...]
    reckoned: tuple[Reading, ...]
    taken: tuple[float, ...]
    rows: tuple[Measurement, ...]
    began: float | None


@dataclass(frozen=True)
class WearTold:
    """One quantity of a component ready to be shown. forecast: None where the part's age is unknown; next: what to do."""

    quantity: str
    title: str
    words: str
    next: str
    track: Track
    forecast: WearForecast | None
    today: float

    @property
    def dates(self) -> list[date]:
        """The day of each reading."""
        return [date_of_day(day) for day in self.track.taken]


def wear_of(component_id: int, now: datetime, run: ComponentRun | None = None) -> list[WearTold]:
    """Return what is known of the wear of one component, fitted or in stock; empty where nothing of it was measured.

    `run` is its run where it is at hand. As many queries however often it was measured.
    """
    runs = {component_id: run} if run else None
    tracks = tracks_of([component_id], runs=runs).get(component_id, {})
    if not tracks:
        return []
    run = run or runs_of([component_id])[component_id]
    riding, fleet = _riding(run, now), _fleet_values(run)
    return [_told(track, now, riding, fleet.get(code)) for code, track in sorted(tracks.items())]


def tracks_of(
    component_ids: Iterable[int], *, quantities: Iterable[str] = tuple(WEAR_KINDS), runs: dict[int, ComponentRun] | None = None
) -> dict[int, dict[str, Track]]:  # fmt: skip
    """Return component id -> quantity -> its measurements. Four queries, and those of the runs where they are not at hand."""
    rows: dict[tuple[int, str], list[Measurement]] = defaultdict(list)
    for row in (
        Measurement.objects.filter(component_id__in=set(component_ids), quantity__in=quantities, card__state="signed")
        .select_related("card")
        .order_by("taken_at", "pk")
    ):
        rows[row.component_id, row.quantity].append(row)
    ids = {component_id for component_id, _ in rows}
    if not ids:
        return {}
    runs = runs_of(ids) if runs is None else runs
    parts = Component.objects.select_related("part_type").in_bulk(ids)
    meters, renewals = meters_of(ids), _renewals(ids)
    tracks: dict[int, dict[str, Track]] = defaultdict(dict)
    for (pk, code), taken in rows.items():
        cycles = meters.get((pk, "charge_cycles"), [])
        tracks[pk][code] = _track(WEAR_KINDS[code], parts[pk], runs[pk], taken, cycles, renewals[pk, code])
    return tracks


def _renewals(ids: set[int]) -> dict[tuple[int, str], list[float]]:
    """(component, quantity) -> days of work after which the quantity begins anew."""
    answer: dict[tuple[int, str], list[float]] = defaultdict(list)
    tasks = {task: code for code, codes in RENEWS.items() for task in codes}
    rows = Completion.objects.filter(component_id__in=ids, task__in=tasks).order_by("done_at")
    for pk, task, done_at in rows.values_list("component_id", "task", "done_at"):
        answer[pk, tasks[task]].append(day_of(done_at))
    return answer


def _track(
    kind: WearKind, part: Component, run: ComponentRun, rows: Sequence[Measurement],
    cycles: Sequence[tuple[float, float]], renewed_on: Sequence[float],
) -> Track:  # fmt: skip
    days = np.array([day_of(row.taken_at) for row in rows])
    km = kind.axis == "km"
    at = [float(run.life_at(day).km) for day in days] if km else list(days)
    spent = _cycles_at(cycles, run.first_day, days)
    contexts = _with_what_was_set(kind, rows)
    renewing = {int(day) for day in renewed_on}
    readings = tuple(
        Reading(place, row.value, context=context, cycles=count, renewed=int(day) in renewing)
        for row, place, context, count, day in zip(rows, at, contexts, spent, days, strict=True)
    )
    began = 0.0 if km else _first_day(part, run, days)
    if km and (run.born_km is None or run.life_at(days[-1]).is_unknown):
        began = None
    reckoned, shifted = _without_unmeasured(readings, began, renewed_on)
    return Track(
        kind, dict(part.part_type.rated), readings, reckoned, tuple(float(day) for day in days), tuple(rows),
        shifted,
    )  # fmt: skip


def _without_unmeasured(
    readings: tuple[Reading, ...], began: float | None, renewed_on: Sequence[float]
) -> tuple[tuple[Reading, ...], float | None]:
    """The time between a measurement and the next unmeasured renewal taught nothing: what lies before moves up to it.

    Within each life the distances stay as they were, and lives are independent of each other.
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


def _first_day(part: Component, run: ComponentRun, days: np.ndarray) -> float:
    """The day it began to age: when it was first fitted; never fitted, when it was made or measured first."""
    if run.first_day is not None:
        return min(run.first_day, float(days[0]))
    return min(day_of_date(part.made_on), float(days[0])) if part.made_on else float(days[0])


def _cycles_at(cycles: Sequence[tuple[float, float]], first_day: float | None, days: np.ndarray) -> list[float]:
    if not cycles:
        return [0.0] * len(days)
    start = cycles[0][0] if first_day is None else first_day
    line = build_timeline([day for day, _ in cycles], [value for _, value in cycles], (), zero_day=start)
    return [float(value) for value in line.life_at(days)]


def _with_what_was_set(kind: WearKind, rows: Sequence[Measurement]) -> list[dict[str, Any]]:
    """Each context, with the values that hold until they are noted again (what it was set to, how high it was new)."""
    held: dict[str, Any] = {}
    contexts = []
    for row in rows:
        held |= {name: row.context[name] for name in ("set_kpa", "new_height_mm") if name in row.context}
        contexts.append({**held, **row.context})
    return contexts


def _riding(run: ComponentRun, now: datetime) -> Riding | None:
    """When the part's life reaches a distance, by the rider of the trike it sits on; None while it sits on none."""
    here = next((fitment for fitment in run.fitments if fitment.removed_at is None), None)
    if here is None:
        return None
    clock, day = run.clocks[here.trike_id], day_of(now)
    ahead = float(clock.life_at(day)) - float(run.life_at(day).km)
    horizon = float(clock.state.last_day) + HORIZON_DAYS

    def riding(targets: np.ndarray, levels: np.ndarray) -> np.ndarray:
        return date_of(clock.state, targets + ahead, list(levels), horizon, clock.book.km)

    return riding


def _fleet_values(run: ComponentRun) -> dict[str, Values]:
    """What the fleet knows of wear, as the trike it sits on or sat on last has it; never fitted: as shipped."""
    return run.clocks[run.fitments[-1].trike_id].book.wear if run.fitments else {}


def _told(track: Track, now: datetime, riding: Riding | None, fleet: Values | None) -> WearTold:
    today = day_of(now)
    code, title = track.kind.code, quantity_of(track.kind.code).title
    if track.began is None:
        said = "Cannot tell yet: how far it ran before it came here is not known."
        return WearTold(
            code, title, said, "Measured values stand below; only a date cannot be told.", track, None, today
        )
    found = foresee(
        code, track.reckoned, rated=track.rated, began=track.began, today=today, riding=riding, fleet=fleet
    )  # fmt: skip
    told, ahead = words(found, track.readings, today=today), _next(track, found)
    if found.limits is None:
        told = f"Cannot tell yet: {_missing(track)} not known."
    return WearTold(code, title, told, ahead, track, found, today)


def _missing(track: Track) -> str:
    lacks = track.kind.lacks(track.rated, track.reckoned[-1].context)
    told = " and ".join(BESIDE_WORDS.get(name, name.replace("_", " ")) for name in lacks)
    return f"{told} {'is' if len(lacks) == 1 else 'are'}"


def _next(track: Track, found: WearForecast) -> str:
    """What would let it be told: what to note beside the next reading, or to measure again."""
    context = track.reckoned[-1].context
    noted = [name for name in track.kind.lacks(track.rated, context) if name in BESIDE_WORDS]
    typed = [name for name in track.kind.lacks(track.rated, context) if name not in BESIDE_WORDS]
    if noted:
        return f"Note {' and '.join(BESIDE_WORDS[name] for name in noted)} beside the next measurement."
    if typed:
        return f"Add {' and '.join(name.replace('_', ' ') for name in typed)} to its part type."
    if found.tells:
        return ""
    return "One more measurement narrows the range most when the part has run a good while since the last one."


def learn_wear() -> dict[str, dict[str, Any]]:
    """Return quantity -> fitted Values.as_dict() over all measured parts, replaced ones included. Background work only."""
    fitted = {}
    for code, kind in WEAR_KINDS.items():
        ids = _measured_last(code)
        parts = [_points(tracks[code]) for tracks in tracks_of(ids, quantities=[code]).values()]
        parts = [points for points in parts if points]
        if parts:
            fitted[code] = fit_fleet(kind.shape, series_of(parts), kind.shipped).as_dict()
    return fitted


def _measured_last(code: str) -> list[int]:
    rows = Measurement.objects.filter(quantity=code, card__state="signed").order_by("-taken_at", "-pk")
    return list(dict.fromkeys(rows.values_list("component_id", flat=True)))[:MOST_PARTS]


def _points(track: Track) -> list[Point]:
    if track.began is None:
        return []
    return points_of(track.kind, track.reckoned, track.rated, track.began)[0]
