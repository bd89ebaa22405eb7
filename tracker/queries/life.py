"""How far trikes and components have run: rows become timelines, timelines and fitments become lives."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

import numpy as np

from services.expected import expected_lines, with_expected
from services.fleet_rates import FleetRates
from services.forecast import distance_on
from services.life import Life, Span, life_of
from services.odometer import DisplayChange, Timeline, build_timeline
from services.rates import RateState, new_rider_at, rates_of
from services.rides import with_floor
from services.riding import RiderRate, rider_rate
from tracker.models import Component, Fitment, Handover, MeterReading, OdometerReading, Trike
from tracker.models import DisplayChange as DisplayChangeRow
from tracker.queries.clock import day_of, day_of_date, local_date
from tracker.queries.fleet_numbers import METERS, FleetBook, books_of, owner_changes_of, southern_of
from tracker.queries.rides import open_rides


@dataclass(frozen=True)
class TrikeClock:
    """One trike's distance over time, what is known of its rider's rate, and what the fleet knows (its book)."""

    trike_id: int
    timeline: Timeline
    state: RateState
    book: FleetBook
    zero_day: float
    passed: tuple[float, ...] = ()  # days on which it passed to another owner

    @cached_property
    def rate(self) -> RiderRate:
        """How fast its rider rides."""
        return rider_rate(self.state, self.book.km)

    def life_at(self, days: np.ndarray | float) -> np.ndarray:
        """Return life (km) on `days`; past the last reading as the rider and the season let expect."""
        return self.timeline.life_at(days, self.rate.km_per_day)


def clocks_of(trike_ids: Iterable[int], *, with_rides: bool = True) -> dict[int, TrikeClock]:
    """Return the clocks of these trikes, in a fixed number of queries however many they are.

    with_rides: whether rides that came as files raise a distance that was expected to be less (services/rides.py); displays
    are judged without them.
    """
    ids = set(trike_ids)
    lines, south, passed = timelines_of(ids), southern_of(ids), owner_changes_of(ids)
    rides = open_rides(ids) if with_rides else {}
    row_ids = dict(Trike.objects.filter(pk__in=ids).values_list("pk", "fleet_numbers_id"))
    books = books_of(row_ids.values())
    clocks = {}
    for row_id, book in books.items():
        mine = [pk for pk in lines if row_ids[pk] == row_id]
        if mine:
            clocks |= _clocks(mine, lines, book, np.array([south.get(pk, False) for pk in mine]), passed)
        if raised := _raised([clocks[pk] for pk in mine if pk in rides], rides):
            clocks |= _clocks(list(raised), raised, book, np.array([south.get(pk, False) for pk in raised]), passed)
    return {pk: clocks[pk] for pk in lines}


def _raised(clocks: list[TrikeClock], rides: dict[int, list[tuple[float, float, float]]]) -> dict[int, Timeline]:
    """The timelines of those that ran further by their ride files than was expected without them."""
    lines = {clock.trike_id: with_floor(clock.timeline, rides[clock.trike_id]) for clock in clocks}
    return {pk: line for pk, line in lines.items() if line is not None}


def _clocks(
    ids: list[int], lines: dict[int, Timeline], book: FleetBook, southern: np.ndarray, passed: dict[int, list[float]]
) -> dict[int, TrikeClock]:
    """The clocks of trikes that share a book."""
    found = _with_rates(ids, lines, book.km, southern, passed)
    return {
        pk: TrikeClock(pk, line, state, book, float(line.days[0]), tuple(passed.get(pk, ())))
        for pk, (line, state) in found.items()
    }


def _with_rates(
    ids: list[int],
    lines: dict[int, Timeline],
    fleet: FleetRates,
    southern: np.ndarray,
    passed: dict[int, list[float]],
) -> dict[int, tuple[Timeline, RateState]]:
    """Each timeline with what is expected after it, and its rate; all folded together. passed: days of a change of rider."""
    machine = np.repeat(np.arange(len(ids)), [len(lines[pk].days) for pk in ids])
    days = np.concatenate([lines[pk].days for pk in ids])
    life = np.concatenate([lines[pk].life_km for pk in ids])
    changes = [(row, day) for row, pk in enumerate(ids) for day in passed.get(pk, ())]
    fresh = new_rider_at(machine, days, *zip(*changes, strict=True)) if changes else None
    states = rates_of(machine, days, life, southern=southern, fleet=fleet, new_rider=fresh)
    ahead_days, ahead_km = expected_lines(states, fleet)
    return {
        pk: (with_expected(lines[pk], ahead_days[row], ahead_km[row]), states.take(row)) for row, pk in enumerate(ids)
    }


def timelines_of(trike_ids: Iterable[int]) -> dict[int, Timeline]:
    """Return the distance of these trikes over time, up to what was read last, in a fixed number of queries."""
    ids = set(trike_ids)
    readings: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for trike_id, read_at, km in (
        OdometerReading.objects.filter(trike_id__in=ids, verdict=OdometerReading.Verdict.ACCEPTED)
        .order_by("trike_id", "read_at", "pk")
        .values_list("trike_id", "read_at", "km")
    ):
        readings[trike_id].append((day_of(read_at), km))
    changes: dict[int, list[DisplayChange]] = defaultdict(list)
    for row in DisplayChangeRow.objects.filter(trike_id__in=ids).order_by("trike_id", "changed_at"):
        changes[row.trike_id].append(
            DisplayChange(day_of(row.changed_at), row.old_final_km, row.new_start_km, row.old_final_km is None)
        )
    zeros = _zero_days(ids)
    zero_km = Trike.objects.filter(pk__in=ids).order_by("pk").values_list("pk", "odometer_zero_km")
    return {pk: _timeline(readings[pk], changes[pk], zeros.get(pk), km) for pk, km in zero_km}


def _zero_days(ids: set[int]) -> dict[int, float]:
    """The day a trike's life begins: its handover, or while in build the day its first component was fitted."""
    zeros = {}
    first = Fitment.objects.filter(trike_id__in=ids).order_by("trike_id", "-fitted_at")
    for trike_id, fitted_at in first.values_list("trike_id", "fitted_at"):
        zeros[trike_id] = day_of(fitted_at)
    delivered: list[tuple[int, date | None]] = list(
        Trike.objects.filter(pk__in=ids, delivered_on__isnull=False).values_list("pk", "delivered_on")
    )
    for trike_id, day in delivered:
        zeros[trike_id] = day_of_date(day)
    return zeros


def _timeline(
    readings: list[tuple[float, float]], changes: list[DisplayChange], zero_day: float | None, zero_km: float
) -> Timeline:
    start = zero_day if zero_day is not None else (readings[0][0] if readings else 1.0)
    return build_timeline(
        [day for day, _ in readings], [km for _, km in readings], tuple(changes), zero_day=start, zero_km=zero_km
    )


@dataclass(frozen=True)
class ComponentRun:
    """Where one component sat and with which clocks: enough to answer its life on any day."""

    component_id: int
    born_km: float | None
    fitments: tuple[Fitment, ...]
    clocks: dict[int, TrikeClock]

    @cached_property
    def first_day(self) -> float | None:
        """The day its service life began: its first fitment, or the handover of that trike if that was later."""
        if not self.fitments:
            return None
        first = self.fitments[0]
        return max(day_of(first.fitted_at), self.clocks[first.trike_id].zero_day)

    def life_at(self, day: float) -> Life:
        """Return the life on `day`, over all fitments up to then. Each day is computed once: many tasks ask the same."""
        life = self._lives.get(day)
        if life is None:
            born = self.born_km
            life = self._lives[day] = life_of(self._spans, day, born_km=born or 0.0, unknown=born is None)
        return life

    @cached_property
    def _lives(self) -> dict[float, Life]:
        return {}

    @cached_property
    def _spans(self) -> list[Span]:
        return [
            Span(
                day_of(f.fitted_at),
                day_of(f.removed_at) if f.removed_at else None,
                self.clocks[f.trike_id].timeline,
                self.clocks[f.trike_id].rate.km_per_day,
            )
            for f in self.fitments
        ]


def runs_of(component_ids: Iterable[int], clocks: dict[int, TrikeClock] | None = None) -> dict[int, ComponentRun]:
    """Return the runs of these components. `clocks` are those already at hand; missing ones are fetched."""
    ids = set(component_ids)
    fitments: dict[int, list[Fitment]] = defaultdict(list)
    for fitment in Fitment.objects.filter(component_id__in=ids).order_by("component_id", "fitted_at", "pk"):
        fitments[fitment.component_id].append(fitment)
    known = dict(clocks or {})
    missing = {f.trike_id for rows in fitments.values() for f in rows} - set(known)
    if missing:
        known |= clocks_of(missing)
    return {
        pk: ComponentRun(pk, born_km, tuple(fitments[pk]), known)
        for pk, born_km in Component.objects.filter(pk__in=ids).values_list("pk", "life_before_km")
    }


def lives_of(component_ids: Iterable[int], at: datetime) -> dict[int, Life]:
    """Return the life of each component at `at`, wherever it sat."""
    day = day_of(at)
    return {pk: run.life_at(day) for pk, run in runs_of(component_ids).items()}


def meters_of(component_ids: Iterable[int]) -> dict[tuple[int, str], list[tuple[float, float]]]:
    """Return (component, meter) -> [(day, value), ...] in time order."""
    rows: dict[tuple[int, str], list[tuple[float, float]]] = defaultdict(list)
    for component_id, meter, read_at, value in (
        MeterReading.objects.filter(component_id__in=set(component_ids))
        .order_by("component_id", "meter", "read_at", "pk")
        .values_list("component_id", "meter", "read_at", "value")
    ):
        rows[component_id, meter].append((day_of(read_at), value))
    return rows


def meter_lines_of(
    component_ids: Iterable[int], runs: dict[int, ComponentRun] | None = None
) -> dict[tuple[int, str], Timeline]:
    """Return (component, meter) -> the meter over time from its first fitment on, where it was read at least once."""
    rows = meters_of(component_ids)
    runs = runs_of({pk for pk, _ in rows}) if runs is None else runs
    return {
        (pk, meter): build_timeline([day for day, _ in told], [km for _, km in told], (), zero_day=runs[pk].first_day)
        for (pk, meter), told in rows.items()
        if runs[pk].first_day is not None
    }


@dataclass(frozen=True)
class MeterClock:
    """A component's own meter over time and how fast it runs, in the meter's unit."""

    timeline: Timeline
    state: RateState


def meter_clocks_of(
    trike_by_component: dict[int, int], runs: dict[int, ComponentRun], clocks: dict[int, TrikeClock]
) -> dict[tuple[int, str], MeterClock]:
    """Return (component, 'hours' or 'cycles') -> its clock, where it was read at least once. One query."""
    lines = meter_lines_of(trike_by_component, runs)
    answer = {}
    for name, meter in METERS.items():
        by_book: dict[int | None, list[int]] = defaultdict(list)
        for pk in (pk for pk, kind in lines if kind == meter):
            by_book[clocks[trike_by_component[pk]].book.row_id].append(pk)
        for ids in by_book.values():
            book = clocks[trike_by_component[ids[0]]].book
            southern = np.array([bool(clocks[trike_by_component[pk]].state.southern) for pk in ids])
            passed = {pk: _passed_with(runs[pk], clocks[trike_by_component[pk]]) for pk in ids}
            found = _with_rates(ids, {pk: lines[pk, meter] for pk in ids}, getattr(book, name), southern, passed)
            answer |= {(pk, name): MeterClock(line, state) for pk, (line, state) in found.items()}
    return answer


def _passed_with(run: ComponentRun, clock: TrikeClock) -> list[float]:
    """The days on which a component passed to another owner together with the trike it sits on."""
    fitted = day_of(run.fitments[-1].fitted_at)
    return [day for day in clock.passed if day > fitted]


@dataclass(frozen=True)
class Distance:
    """Where a trike stands: life now (past the last reading an estimate, with its 90 % limit) and what it rests on.

    display_least_km, display_km, display_most_km: what its display showed last, should show now, and hardly exceeds; the
    least None where nobody knows it. is_read: whether this display was ever read, else it is as at the handover.
    """

    km: float
    at_most_km: float
    is_estimate: bool
    last_read_on: date | None
    last_display_km: float | None
    display_least_km: float | None
    display_km: float
    display_most_km: float
    is_read: bool
    rate: RiderRate


def distances_now(
    trike_ids: Iterable[int], now: datetime, clocks: dict[int, TrikeClock] | None = None
) -> dict[int, Distance]:
    """Return where each of these trikes stands at `now`. `clocks`: where they are at hand."""
    ids, today = list(trike_ids), day_of(now)
    clocks = clocks_of(ids) if clocks is None else clocks
    last: dict[int, tuple[datetime, float]] = {}
    for trike_id, read_at, km in (
        OdometerReading.objects.filter(trike_id__in=ids, verdict=OdometerReading.Verdict.ACCEPTED)
        .order_by("read_at", "pk")
        .values_list("trike_id", "read_at", "km")
    ):
        last[trike_id] = (read_at, km)
    begun = {
        pk: (day_of(read_at), km) for pk, (read_at, km) in last.items()
    }  # what each display was last known to show
    for row in DisplayChangeRow.objects.filter(trike_id__in=ids).order_by("changed_at"):
        day = day_of(row.changed_at)
        if day >= begun.get(row.trike_id, (day, 0.0))[0]:
            begun[row.trike_id] = (day, row.new_start_km)
    at_handover = Trike.objects.filter(pk__in=ids).values_list("pk", "odometer_zero_km", "delivered_on")
    answer = {}
    for pk, zero_km, delivered_on in at_handover:
        known = pk in begun or delivered_on is not None
        stands = begun.get(pk, (clocks[pk].zero_day, zero_km))
        answer[pk] = _distance(clocks[pk], last.get(pk), stands, today, known=known, is_read=pk in begun)
    return answer


def _distance(
    clock: TrikeClock, last: tuple[datetime, float] | None, stands: tuple[float, float], today: float, *,
    known: bool, is_read: bool,
) -> Distance:  # fmt: skip
    life, then = (float(km) for km in clock.life_at(np.array([today, stands[0]])))
    most = max(float(distance_on(clock.state, np.float64(today), (0.9,), clock.book.km)[0]), life)
    offset = stands[1] - then
    return Distance(
        life, most, last is None or day_of(last[0]) < int(today), local_date(last[0]) if last else None,
        last[1] if last else None, stands[1] if known else None, life + offset, most + offset, is_read, clock.rate,
    )  # fmt: skip


def handover_of(trike_id: int) -> Handover | None:
    """Return the handover of a trike with its signers, or None while it is in build."""
    return Handover.objects.filter(trike_id=trike_id).select_related("built_by", "second_by").first()
