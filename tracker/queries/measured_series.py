"""The last measured quantity of each of some components as a series: for a small picture beside the component."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from services.kinds import quantity as quantity_of
from services.kinds.model import Quantity
from services.wear_kinds import WEAR_KINDS
from tracker.models import Completion, JobCard, Measurement
from tracker.queries.clock import local_date
from tracker.queries.wear import RENEWS

Row = tuple[datetime, float, dict[str, Any], str]
SIGNED = JobCard.State.SIGNED
TASKS = {code: tuple(task for task, renewed in RENEWS.items() if renewed == code) for code in WEAR_KINDS}


@dataclass(frozen=True)
class Series:
    """One quantity of one component, oldest first. last: as measured; values: pressures as they stand at 20 C.

    limit: where it must be renewed, None where nothing says so. level: what the last came to; put_right: it was renewed
    or set anew since.
    """

    quantity: Quantity
    days: tuple[date, ...]
    values: tuple[float, ...]
    last: float
    level: str
    limit: float | None
    put_right: bool


def series_of(rated_by_component: Mapping[int, Mapping[str, Any]]) -> dict[int, Series]:
    """Return component id -> the series of what was measured last on it, from signed cards. Two queries in all."""
    taken: dict[int, dict[str, list[Row]]] = defaultdict(lambda: defaultdict(list))
    rows = Measurement.objects.filter(component_id__in=list(rated_by_component)).order_by("taken_at", "pk")
    for pk, code, state, *row in rows.values_list(
        "component_id", "quantity", "card__state", "taken_at", "value", "context", "level"
    ):
        if state == SIGNED:  # asked here: asked of SQLite, it would read all signed cards instead of these components
            taken[pk][code].append(tuple(row))
    renewed = _renewed(list(taken))
    answer = {}
    for pk, by_quantity in taken.items():
        code, found = max(by_quantity.items(), key=lambda item: (item[1][-1][0], len(item[1]), item[0]))
        done = [renewed[pk, task] for task in TASKS.get(code, ()) if (pk, task) in renewed]
        answer[pk] = _series(code, found, rated_by_component[pk], max(done, default=None))
    return answer


def _renewed(ids: list[int]) -> dict[tuple[int, str], datetime]:
    """(component, task) -> when it was last done, of the tasks after which a quantity begins anew."""
    rows = Completion.objects.filter(component_id__in=ids, task__in=RENEWS).order_by("done_at", "pk")
    return {(pk, task): done_at for pk, task, done_at in rows.values_list("component_id", "task", "done_at")}


def _series(code: str, rows: list[Row], rated: Mapping[str, Any], renewed_at: datetime | None) -> Series:
    kind, context = WEAR_KINDS.get(code), rows[-1][2]
    values, limit = [row[1] for row in rows], None
    if kind is not None and not any(kind.lacks(rated, row[2]) for row in rows):
        values = [kind.shown(kind.wear(value, rated, beside), rated, beside) for _, value, beside, *_ in rows]
        limit = kind.limits(rated, context)[1]
    at, last, _, level = rows[-1]
    return Series(
        quantity_of(code), tuple(local_date(row[0]) for row in rows), tuple(values), last, level, limit,
        renewed_at is not None and renewed_at >= at,
    )  # fmt: skip
