"""Many odometer readings at once: all of them or none."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from services.errors import Refusal
from tracker.actions.refusals import Invalid
from tracker.actions.steps import lock_trikes, refresh_due
from tracker.actions.transactions import action
from tracker.actions.usage import keep_reading
from tracker.models import OdometerReading, Trike, User

MOST_ROWS = 200


class BadRows(Invalid):
    """Some rows of a bulk request cannot be written, so none was.

    `errors` names every bad row with the same code and words as if it had been sent alone.
    """

    code = "bad-rows"

    def __init__(self, problems: Sequence[tuple[tuple[str | int, ...], str, str]], total: int) -> None:
        bad = len({place[:2] for place, _, _ in problems})
        super().__init__(f"{bad} of {total} rows cannot be written.", remedy="Nothing was written. See errors.")
        self.problems = problems


@action
def record_readings(
    *, rows: Sequence[Mapping[str, Any]], source: str, by: User | None, now: datetime
) -> list[OdometerReading]:
    """Record readings (trike, value, unit, read_at, note) and return them in the order they came.

    Rows are judged in the order of time, so that they may be sent in any order. Raises BadRows.
    """
    ids = sorted({row["trike"] for row in rows})
    lock_trikes(ids)
    trikes = {trike.pk: trike for trike in Trike.objects.filter(pk__in=ids)}
    written: dict[int, OdometerReading] = {}
    problems: list[tuple[tuple[str | int, ...], str, str]] = []
    for index in sorted(range(len(rows)), key=lambda place: rows[place]["read_at"]):
        try:
            written[index] = _one(trikes, rows[index], source, by, now)
        except Refusal as refusal:
            place = ("readings", index, *([refusal.field] if refusal.field else []))
            problems.append((place, refusal.code, f"{refusal.message} {refusal.remedy}".strip()))
    if problems:
        raise BadRows(sorted(problems, key=lambda problem: problem[0][1]), len(rows))
    refresh_due(ids, now)
    return [written[index] for index in range(len(rows))]


def _one(
    trikes: Mapping[int, Trike], row: Mapping[str, Any], source: str, by: User | None, now: datetime
) -> OdometerReading:
    trike = trikes.get(row["trike"])
    if trike is None:
        raise Invalid("There is no such trike.", field="trike", remedy="Look it up again.")
    with transaction.atomic():
        return keep_reading(trike, row["value"], row["unit"], row["read_at"], source, by, now, note=row["note"])
