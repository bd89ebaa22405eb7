"""What examining a file results in: a verdict for every row, and how to write the good ones."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from services.errors import Refusal
from tracker.actions.steps import LogDraft
from tracker.models import ImportRow
from tracker.queries.clock import local_date
from tracker.spreadsheets.row import Row

M = TypeVar("M", bound=Model)
Verdict = ImportRow.Verdict
PIECE = 5_000  # values in one SQL "IN (...)": well below SQLite's limit
BULK = 500


@dataclass(frozen=True)
class Context:
    """When a file is taken in, by whom, and by how many days its dates are moved."""

    now: datetime
    shift_days: int = 0
    by_id: int | None = None

    @property
    def today(self) -> date:
        """The workshop's date."""
        return local_date(self.now)


@dataclass(frozen=True)
class Written:
    """What a write leaves for the logbook and the due list."""

    logs: Sequence[LogDraft] = ()
    trike_ids: frozenset[int] = frozenset()


@dataclass
class Verdicts:
    """The verdict of each row of a file, good until something else is found."""

    rows: Sequence[Row]
    found: dict[int, tuple[str, str, str, str]] = field(default_factory=dict)  # number -> verdict, field, code, message

    def fresh(self) -> Iterator[Row]:
        """Yield the rows that do not repeat an earlier one; mark the repetitions as skipped."""
        first: dict[tuple[str, ...], int] = {}
        for row in self.rows:
            same = first.setdefault(row.seen(), row.number)
            if same != row.number:
                self.skip(row, f"Same as row {same}.", "same-row")
            else:
                yield row

    def skip(self, row: Row, message: str, code: str = "already-there") -> None:
        """Nothing to write for this row."""
        self.found[row.number] = (Verdict.SKIPPED, "", code, message)

    def question(self, row: Row, column: str, code: str, message: str) -> None:
        """The row is written; a person should look at it."""
        if row.number not in self.found:
            self.found[row.number] = (Verdict.QUESTIONED, column, code, message)

    def settle(self) -> None:
        """Rows with problems are bad, whatever else was found. Call when all rows were looked at."""
        for row in self.rows:
            if row.problems:
                first = row.problems[0]
                told = " ".join(f"{problem.message} {problem.remedy}".strip() for problem in row.problems)
                self.found[row.number] = (Verdict.BAD, first.field or "", first.code, told)

    def verdict(self, row: Row) -> str:
        """Return the row's verdict."""
        return self.found[row.number][0] if row.number in self.found else Verdict.GOOD

    def counts(self) -> Counter[str]:
        """Return how many rows have each verdict."""
        return Counter(self.verdict(row) for row in self.rows)

    def as_rows(self, batch_id: int) -> list[dict[str, Any]]:
        """Return the verdicts as ImportRow keeps them, cut to their columns' sizes."""
        rows = []
        for row in self.rows:
            verdict, column, code, message = self.found.get(row.number, (Verdict.GOOD, "", "", ""))
            message = message if len(message) <= 400 else message[:397] + "..."
            told = {"field": column[:60], "code": code[:60], "message": message}
            rows.append({"batch_id": batch_id, "number": row.number, "raw": row.raw(), "verdict": str(verdict)} | told)
        return rows


@dataclass(frozen=True)
class Plan:
    """A file examined: its verdicts and, as long as none is bad, what to write."""

    verdicts: Verdicts
    write: Callable[[], Written]


class Clash(Refusal):
    """The row contradicts the record or another row."""

    code = "clash"
    status = "conflict"


class NotKnown(Refusal):
    """The row names something the record does not have."""

    code = "not-known"
    status = "invalid"


def rows_in(queryset: QuerySet[M], name: str, values: Iterable[Any]) -> Iterator[M]:
    """Yield the rows of `queryset` whose `name` is among `values`, asking in pieces the database can take."""
    wanted = sorted({value for value in values if value is not None})
    for start in range(0, len(wanted), PIECE):
        yield from queryset.filter(**{f"{name}__in": wanted[start : start + PIECE]})
