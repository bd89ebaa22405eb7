"""What the due lines of some trikes rest on: the record, fetched in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from tracker.models import BulletinPart, Completion, Fitment, Measurement, Occurrence, ServiceInterval, Trike
from tracker.queries.bulletin_parts import asking_parts
from tracker.queries.clock import day_of, local_date
from tracker.queries.life import ComponentRun, MeterClock, TrikeClock, clocks_of, meter_clocks_of, runs_of

URGENT = ("replace", "stop")


class Alarm(NamedTuple):
    """The last measurement of a quantity that says replace or stop: its day, its words, and what it found, as JSON."""

    on: date
    words: str
    finding: dict[str, Any]  # quantity, value, level


@dataclass(frozen=True)
class Ground:
    """Everything the due lines of some trikes rest on, fetched in a fixed number of queries."""

    fitments: list[Fitment]
    clocks: dict[int, TrikeClock]
    runs: dict[int, ComponentRun]
    intervals: dict[tuple[str, str, int | None], ServiceInterval]
    completions: dict[tuple[int, str], list[float]]
    alarms: dict[tuple[int, str], Alarm]
    occurrences: dict[int, list[Occurrence]]
    meters: dict[tuple[int, str], MeterClock]
    bulletins: dict[int, list[BulletinPart]]


def ground_of(trike_ids: Iterable[int]) -> Ground:
    """Fetch the ground for these trikes."""
    ids = set(trike_ids)
    fitments = list(
        Fitment.objects.current()
        .filter(trike_id__in=ids)
        .exclude(trike__state=Trike.State.RETIRED)
        .select_related("component__part_type", "trike")
        .order_by("trike_id", "position", "pk")
    )
    parts = {f.component_id for f in fitments}
    clocks = clocks_of(ids)
    completions: dict[tuple[int, str], list[float]] = defaultdict(list)
    for pk, task, done_at in (
        Completion.objects.filter(component_id__in=parts)
        .order_by("component_id", "task", "done_at", "pk")
        .values_list("component_id", "task", "done_at")
    ):
        completions[pk, task].append(day_of(done_at))
    occurrences: dict[int, list[Occurrence]] = defaultdict(list)
    for row in Occurrence.objects.filter(trike_id__in=ids).order_by("trike_id", "happened_at", "pk"):
        occurrences[row.trike_id].append(row)
    runs = runs_of(parts, clocks)
    meters = meter_clocks_of({fitment.component_id: fitment.trike_id for fitment in fitments}, runs, clocks)
    return Ground(
        fitments, clocks, runs, _intervals(), completions, _alarms(parts), occurrences, meters, _bulletins(parts)
    )


def _intervals() -> dict[tuple[str, str, int | None], ServiceInterval]:
    return {(row.task, row.part_kind, row.part_type_id): row for row in ServiceInterval.objects.all()}


def _bulletins(parts: set[int]) -> dict[int, list[BulletinPart]]:
    """Component id -> where a released bulletin asks something of it, now or again later."""
    found: dict[int, list[BulletinPart]] = defaultdict(list)
    for row in asking_parts().filter(component_id__in=parts).select_related("bulletin").order_by("pk"):
        found[row.component_id].append(row)
    return found


def _alarms(parts: set[int]) -> dict[tuple[int, str], Alarm]:
    """The last measurement of each component and quantity, where it says replace or stop."""
    last: dict[tuple[int, str], Alarm] = {}
    for pk, quantity, taken_at, level, words, value in (
        Measurement.objects.filter(component_id__in=parts, card__state="signed")
        .order_by("taken_at", "pk")
        .values_list("component_id", "quantity", "taken_at", "level", "words", "value")
    ):
        last[pk, quantity] = Alarm(local_date(taken_at), words, {"quantity": quantity, "value": value, "level": level})
    return {key: alarm for key, alarm in last.items() if alarm.finding["level"] in URGENT}
