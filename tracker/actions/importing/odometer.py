"""Odometer files: one reading per row, told by someone; notes of a swapped display become display changes."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from services.errors import Refusal
from services.units import to_km
from tracker.actions.importing.hints import Hints
from tracker.actions.importing.meters import MILLI, Meters, reading_of, trikes_named
from tracker.actions.importing.plan import BULK, Clash, Context, NotKnown, Plan, Verdicts, Written
from tracker.actions.steps import LogDraft
from tracker.models import DisplayChange, OdometerReading, Trike
from tracker.models.usage import Source
from tracker.queries.clock import noon
from tracker.spreadsheets.refusals import BadText, CellRefused, MissingCell
from tracker.spreadsheets.row import Row
from tracker.spreadsheets.values import to_number, within

UNITS = {"km": "km", "kilometres": "km", "mi": "mi", "miles": "mi"}
SOURCES = {
    "owner": Source.OWNER, "desk": Source.DESK, "service desk": Source.DESK, "job card": Source.JOB_CARD,
    "workshop": Source.JOB_CARD, "handover": Source.HANDOVER, "import": Source.IMPORT, "api": Source.API,
    "another system": Source.API, "kiosk": Source.API,
}  # fmt: skip
SWAPPED = re.compile(r"display\s+(?:swapped|changed|reset|replaced)\b(.*)", re.IGNORECASE | re.DOTALL)
OLD_AND_NEW = re.compile(r"\s*[,;:]\s*old\s+(.+?)\s*[,;]\s*new\s+(.+?)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Swapped:
    """A display change as the note tells it, in km."""

    old_km: float | None
    new_km: float


@dataclass(frozen=True)
class Entry:
    """One row, read."""

    row: Row
    trike: Trike
    at: datetime
    value: Decimal | None
    unit: str
    source: str
    note: str
    swapped: Swapped | None


def examine(rows: Sequence[Row], context: Context) -> Plan:
    """Judge every reading against those stored and those of the file, each trike in the order of its days."""
    verdicts = Verdicts(rows)
    book = _Book(rows, context)
    entries = [entry for row in verdicts.fresh() if (entry := book.read(row)) is not None]
    entries.sort(key=lambda e: (e.trike.pk, e.at, e.swapped is None, e.value or 0, e.row.number))
    for entry in entries:
        book.judge(entry, verdicts)
    verdicts.settle()
    return Plan(verdicts, book.write)


class _Book:
    """The readings and display changes that the file adds."""

    def __init__(self, rows: Sequence[Row], context: Context) -> None:
        self.context = context
        self.trikes = trikes_named(Row(row.number, row.cells).serial("Trike") for row in rows)
        self.meters = Meters({trike.pk: trike for trike in self.trikes.values()}.values(), context)
        self.hints = Hints(lambda: Trike.objects.values_list("frame_serial", flat=True))
        self.readings: list[OdometerReading] = []
        self.changes: list[DisplayChange] = []

    def read(self, row: Row) -> Entry | None:
        """Return the row as an entry, or None with its problems noted."""
        day = row.day("Date", self.context.shift_days, self.context.today, needed=True)
        trike = self._trike(row)
        unit = row.choice("Unit", UNITS) or "km"
        note = row.text("Note", 200)
        swapped = _swapped(row, note, unit)
        value = row.number_in("Reading", 0, 1_000_000)
        if value is None and swapped is None and row.is_blank("Reading"):
            row.refuse(MissingCell("'Reading' is empty.", field="Reading", remedy="Fill in what the display showed."))
        source = row.choice("Source", SOURCES) or Source.IMPORT
        if row.problems or day is None or trike is None:
            return None
        return Entry(row, trike, noon(day), _milli(value), unit, source, note, swapped)

    def _trike(self, row: Row) -> Trike | None:
        name = row.serial("Trike", needed=True)
        if name is None:
            return None
        trike = self.trikes.get(name)
        if trike is None:
            row.refuse(
                NotKnown(
                    f"No trike has the frame serial or plate {name}.{self.hints.near(name)}", field="Trike",
                    remedy="Import the delivery first, or correct the serial.",
                )
            )  # fmt: skip
        elif trike.state == Trike.State.RETIRED:
            row.refuse(
                Clash(f"Trike {trike} is retired.", field="Trike", remedy="Readings are kept for trikes in service.")
            )
        return trike

    def judge(self, entry: Entry, verdicts: Verdicts) -> None:
        """Take in what the entry adds, with its verdict."""
        added = self._take_change(entry)
        value = entry.value
        if value is not None and entry.swapped is not None:
            km = float(to_km(float(value), entry.unit))
            value = None if km in (entry.swapped.old_km, entry.swapped.new_km) else value
        if value is not None and self.meters.stored(entry.trike.pk, entry.at, value, entry.unit) is None:
            self._take_reading(entry, value, verdicts)
            added = True
        if not added:
            verdicts.skip(entry.row, "This reading is there already.")

    def _take_change(self, entry: Entry) -> bool:
        if entry.swapped is None or (entry.trike.pk, entry.at) in self.meters.known_changes:
            return False
        old, new = entry.swapped.old_km, entry.swapped.new_km
        self.meters.add_change(entry.trike.pk, entry.at, old, new)
        self.changes.append(
            DisplayChange(
                trike_id=entry.trike.pk, changed_at=entry.at, old_final_km=old, new_start_km=new, reason=entry.note,
                entered_by_id=self.context.by_id, recorded_at=self.context.now,
            )
        )  # fmt: skip
        return True

    def _take_reading(self, entry: Entry, value: Decimal, verdicts: Verdicts) -> None:
        at = self.meters.moment_of(entry.trike.pk, entry.at, float(to_km(float(value), entry.unit)))
        try:
            verdict = self.meters.judge(entry.trike.pk, at, value, entry.unit)
        except Refusal as problem:
            problem.field = "Date" if problem.field in {"day", "read_at"} else "Reading"
            entry.row.refuse(problem)
            return
        reading = reading_of(entry.trike.pk, at, value, entry.unit, entry.source, verdict, self.context, entry.note)
        self.meters.take(reading)
        self.readings.append(reading)
        if verdict.state == OdometerReading.Verdict.SUSPECT:
            verdicts.question(entry.row, "Reading", verdict.code, verdict.reason)

    def write(self) -> Written:
        """Insert readings and display changes with their log entries."""
        DisplayChange.objects.bulk_create(self.changes, batch_size=BULK)
        OdometerReading.objects.bulk_create(self.readings, batch_size=BULK)
        logs = [change_log(row) for row in self.changes] + [reading_log(row) for row in self.readings]
        logs.sort(key=lambda log: (log.trike_id, log.occurred_at))
        return Written(logs, frozenset(log.trike_id for log in logs))


def reading_log(row: OdometerReading) -> LogDraft:
    """Return the log entry of a stored reading, as the desk writes it."""
    body = {
        "reading": row.pk,
        "value": str(row.value),
        "unit": row.unit,
        "verdict": row.verdict,
        "why": row.reason_code,
    }
    return LogDraft(row.trike_id, "reading", row.read_at, body, None, row.entered_by_id, "import")


def change_log(row: DisplayChange) -> LogDraft:
    """Return the log entry of a stored display change, as the desk writes it."""
    body = {
        "old_final_km": row.old_final_km, "new_start_km": row.new_start_km, "estimated": row.old_final_km is None,
        "reason": row.reason,
    }  # fmt: skip
    return LogDraft(row.trike_id, "display_change", row.changed_at, body, None, row.entered_by_id, "import")


def _milli(value: Decimal | None) -> Decimal | None:
    return None if value is None else value.quantize(MILLI)


def _swapped(row: Row, note: str, unit: str) -> Swapped | None:
    told = SWAPPED.fullmatch(note)
    if told is None:
        return None
    try:
        values = OLD_AND_NEW.fullmatch(told[1])
        if values is None:
            raise BadText("The note tells of a swapped display without its values.", field="Note")
        old = None if values[1].casefold() == "unknown" else _display_km(values[1], unit)
        return Swapped(old, _display_km(values[2], unit))
    except CellRefused as problem:
        problem.remedy = "Write it like: display swapped, old 4812, new 0 (or: old unknown)."
        row.refuse(problem)
        return None


def _display_km(text: str, unit: str) -> float:
    return float(to_km(float(within(to_number(text, "Note"), "Note", 0, 1_000_000)), unit))
