"""Wear of a component from its signed measurements: what it came to, when it meets its limit, or what to measure next."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from services.forecast import date_of
from services.kinds import quantity as quantity_of
from services.wear_dates import Riding, WearForecast, foresee
from services.wear_fit import fit_fleet
from services.wear_kinds import WEAR_KINDS, WearKind
from services.wear_model import Values, series_of
from services.wear_series import Taken, Track, aging_since, cycles_at, track_of
from services.wear_words import AGE_UNKNOWN, AGE_UNKNOWN_NEXT, next_step, words
from tracker.models import Completion, Component, Measurement
from tracker.queries.clock import date_of_day, day_of, day_of_date
from tracker.queries.life import ComponentRun, meters_of, runs_of

HORIZON_DAYS = 10 * 365.25  # after the last reading of the distance
MOST_PARTS = 200  # a quantity's values are fitted to the parts measured last
RENEWS = {task: kind.code for kind in WEAR_KINDS.values() for task in kind.renewed_by}

Rows = dict[tuple[int, str], list[Measurement]]


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
    rows: tuple[Measurement, ...]

    @property
    def dates(self) -> list[date]:
        """The day of each reading."""
        return [date_of_day(day) for day in self.track.days]


def wear_of(component_id: int, now: datetime, run: ComponentRun | None = None) -> list[WearTold]:
    """Return what is known of the wear of one component, fitted or in stock; empty where nothing of it was measured.

    `run` is its run where it is at hand. As many queries however often it was measured.
    """
    rows = _rows([component_id], WEAR_KINDS)
    if not rows:
        return []
    run = run or runs_of([component_id])[component_id]
    tracks = _tracks(rows, {component_id: run})[component_id]
    riding, fleet = _riding(run, now), _fleet_values(run)
    return [
        _told(track, rows[component_id, code], now, riding, fleet.get(code)) for code, track in sorted(tracks.items())
    ]


def tracks_of(
    component_ids: Iterable[int], *, quantities: Iterable[str] = tuple(WEAR_KINDS)
) -> dict[int, dict[str, Track]]:
    """Return component id -> quantity -> its measurements, in as many queries however many they are."""
    rows = _rows(component_ids, quantities)
    return _tracks(rows, runs_of({component_id for component_id, _ in rows})) if rows else {}


def _rows(component_ids: Iterable[int], quantities: Iterable[str]) -> Rows:
    found: Rows = defaultdict(list)
    for row in (
        Measurement.objects.filter(component_id__in=set(component_ids), quantity__in=quantities, card__state="signed")
        .select_related("card")
        .order_by("taken_at", "pk")
    ):
        found[row.component_id, row.quantity].append(row)
    return found


def _tracks(rows: Rows, runs: dict[int, ComponentRun]) -> dict[int, dict[str, Track]]:
    ids = {component_id for component_id, _ in rows}
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
    rows = Completion.objects.filter(component_id__in=ids, task__in=RENEWS).order_by("done_at")
    for pk, task, done_at in rows.values_list("component_id", "task", "done_at"):
        answer[pk, RENEWS[task]].append(day_of(done_at))
    return answer


def _track(
    kind: WearKind, part: Component, run: ComponentRun, rows: Sequence[Measurement],
    meter: Sequence[tuple[float, float]], renewed_on: Sequence[float],
) -> Track:  # fmt: skip
    taken = [Taken(day_of(row.taken_at), row.value, row.context) for row in rows]
    days = [one.day for one in taken]
    if kind.axis == "km":
        at = [float(run.life_at(day).km) for day in days]
        began = None if run.born_km is None or run.life_at(days[-1]).is_unknown else 0.0
    else:
        at, made = days, day_of_date(part.made_on) if part.made_on else None
        began = aging_since(days[0], fitted_first=run.first_day, made=made)
    cycles = cycles_at(days, meter, run.first_day)
    return track_of(
        kind, taken, rated=dict(part.part_type.rated), at=at, began=began, cycles=cycles, renewed_on=renewed_on
    )  # fmt: skip


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


def _told(
    track: Track, rows: Sequence[Measurement], now: datetime, riding: Riding | None, fleet: Values | None
) -> WearTold:
    today, code = day_of(now), track.kind.code
    title = quantity_of(code).title
    if track.began is None:
        return WearTold(code, title, AGE_UNKNOWN, AGE_UNKNOWN_NEXT, track, None, today, tuple(rows))
    found = foresee(
        code, track.reckoned, rated=track.rated, began=track.began, today=today, riding=riding, fleet=fleet
    )  # fmt: skip
    told = words(found, track.readings, today=today)
    return WearTold(code, title, told, next_step(found), track, found, today, tuple(rows))


def learn_wear() -> dict[str, dict[str, Any]]:
    """Return quantity -> fitted Values.as_dict() over all measured parts, replaced ones included. Background work only."""
    fitted = {}
    for code, kind in WEAR_KINDS.items():
        parts = [tracks[code].points for tracks in tracks_of(_measured_last(code), quantities=[code]).values()]
        parts = [points for points in parts if points]
        if parts:
            fitted[code] = fit_fleet(kind.shape, series_of(parts), kind.shipped).as_dict()
    return fitted


def _measured_last(code: str) -> list[int]:
    rows = Measurement.objects.filter(quantity=code, card__state="signed").order_by("-taken_at", "-pk")
    return list(dict.fromkeys(rows.values_list("component_id", flat=True)))[:MOST_PARTS]
