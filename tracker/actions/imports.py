"""Spreadsheets into the record: uploaded at the desk, checked by a worker, confirmed, written all or nothing."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import PurePath

from django.db import DatabaseError
from django.db.models import Q

from tracker.actions.importing import catalogue, deliveries, odometer, parts, service_book
from tracker.actions.importing.plan import Context, Plan, Verdict, Written
from tracker.actions.inserting import insert_rows
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, WrongState
from tracker.actions.steps import chained_logs, refresh_due
from tracker.actions.transactions import action
from tracker.confined import FileRefused
from tracker.models import ImportBatch, ImportRow, LogEntry, User
from tracker.spreadsheets.layouts import LAYOUTS, ORDER, SHEET_TITLES, all_titles, guess_kind, rows_of
from tracker.spreadsheets.opening import check_sheet_size, open_sheet
from tracker.spreadsheets.sheet import Sheet

EXAMINE = {
    "catalogue": catalogue.examine,
    "parts": parts.examine,
    "deliveries": deliveries.examine,
    "odometer": odometer.examine,
    "service_book": service_book.examine,
}
LEASE = timedelta(minutes=6)  # longer than a task may run; after that another worker may take the batch
MOST_SHIFT_DAYS = 36_500
State = ImportBatch.State
TO_LOOK_AT = (Verdict.BAD, Verdict.QUESTIONED)


class ImportHasBadRows(Conflict):
    """A file with a bad row is not written: all or nothing."""

    code = "import-has-bad-rows"


class ImportNoLongerFits(Conflict):
    """Between check and write the record changed, and a row became bad."""

    code = "import-no-longer-fits"


@action
def upload(
    *, kind: str, file_name: str, content: bytes, by: User | None = None, now: datetime, shift_days: int = 0
) -> ImportBatch:
    """Keep a file for a worker to check. Nothing of it is read here but its size.

    Raises FieldInvalid (kind, shift), EmptyFile, FileTooLarge.
    """
    if kind not in LAYOUTS:
        raise FieldInvalid(
            f"'{kind}' is no kind of import.", field="kind", remedy=f"Choose one of: {', '.join(LAYOUTS)}."
        )
    if abs(shift_days) > MOST_SHIFT_DAYS:
        raise FieldInvalid(
            "Dates cannot be moved by more than a century.", field="shift_days", remedy="Use fewer days."
        )
    check_sheet_size(content)
    batch = _batch(kind, file_name, content, by, now, shift_days)
    batch.save()
    return batch


def _batch(kind: str, file_name: str, content: bytes, by: User | None, now: datetime, shift_days: int) -> ImportBatch:
    name = "".join(sign for sign in PurePath(file_name.replace("\\", "/")).name if sign.isprintable())
    return ImportBatch(
        kind=kind, file_name=name[:200] or "file", content=content, sha256=hashlib.sha256(content).hexdigest(),
        uploaded_by=by, uploaded_at=now, shift_days=shift_days,
    )  # fmt: skip


def check_batch(batch_id: int, now: datetime) -> ImportBatch:
    """Read an uploaded file and store the verdict on every row. A file that cannot be read is refused as a whole.

    For a worker: returns the batch as it stands when another worker has it, or when it is not waiting.
    """
    batch = _claim(batch_id, State.UPLOADED, State.CHECKING, now)
    if batch is None:
        return ImportBatch.objects.get(pk=batch_id)
    try:
        sheet = open_sheet(bytes(batch.content), SHEET_TITLES[batch.kind])
        plan, notes = _examine(sheet, batch.kind, _context(batch, now))
    except FileRefused as refusal:
        return _finish(batch, State.REFUSED, f"{refusal.message} {refusal.remedy}".strip(), now)
    except Exception:
        _finish(batch, State.FAILED, "The file could not be checked: a fault of the program, see its log.", now)
        raise
    return _keep_verdicts(batch, plan, notes)


@action
def _keep_verdicts(batch: ImportBatch, plan: Plan, notes: str) -> ImportBatch:
    if not _is_mine(batch):
        return batch
    batch.rows.all().delete()
    insert_rows(ImportRow, plan.verdicts.as_rows(batch.pk))
    _count(batch, plan)
    batch.state, batch.message, batch.lease_until = State.CHECKED, notes[:400], None
    batch.save(update_fields=[*COUNTED, "state", "message", "lease_until"])
    return batch


COUNTED = ("rows_total", "rows_good", "rows_skipped", "rows_questioned", "rows_bad")


def _count(batch: ImportBatch, plan: Plan) -> None:
    counts = plan.verdicts.counts()
    batch.rows_total = len(plan.verdicts.rows)
    batch.rows_good, batch.rows_skipped = counts[Verdict.GOOD], counts[Verdict.SKIPPED]
    batch.rows_questioned, batch.rows_bad = counts[Verdict.QUESTIONED], counts[Verdict.BAD]


@action
def confirm(*, batch_id: int, by: User | None = None, now: datetime) -> ImportBatch:
    """Let a checked file be written by a worker.

    Raises Invalid (no such batch), WrongState (not checked, or confirmed already), ImportHasBadRows.
    """
    batch = ImportBatch.objects.select_for_update(of=("self",)).defer("content").filter(pk=batch_id).first()
    if batch is None:
        raise Invalid("There is no such import.", field="id", remedy="Upload the file again.")
    if batch.state != State.CHECKED:
        raise WrongState(f"This import is {batch.get_state_display()}.", field="id", remedy="Look at its page.")
    if batch.rows_bad:
        raise ImportHasBadRows(
            f"{batch.rows_bad} of {batch.rows_total} rows are bad, and a file is written whole or not at all.",
            field="id",
            remedy="Correct those rows in the file and upload it again.",
        )
    batch.state = State.CONFIRMED
    batch.save(update_fields=["state"])
    return batch


def apply_batch(batch_id: int, now: datetime) -> ImportBatch:
    """Write a confirmed file in one transaction, after looking at every row again. What fails leaves nothing.

    For a worker: returns the batch as it stands when another worker has it, or when it is not confirmed.
    """
    batch = _claim(batch_id, State.CONFIRMED, State.APPLYING, now)
    if batch is None:
        return ImportBatch.objects.get(pk=batch_id)
    try:
        sheet = open_sheet(bytes(batch.content), SHEET_TITLES[batch.kind])
        return _apply(batch, sheet, now)
    except (FileRefused, ImportNoLongerFits) as refusal:
        return _finish(batch, State.FAILED, f"Nothing was written. {refusal.message} {refusal.remedy}".strip(), now)
    except DatabaseError as error:
        told = "Nothing was written: the database refused, or something else changed the same rows. Try again."
        _finish(batch, State.FAILED, f"{told} ({type(error).__name__})", now)
        raise
    except Exception:
        _finish(batch, State.FAILED, "Nothing was written: a fault of the program, see its log.", now)
        raise


@action
def _apply(batch: ImportBatch, sheet: Sheet, now: datetime) -> ImportBatch:
    if not _is_mine(batch):
        return batch
    plan, _ = _examine(sheet, batch.kind, _context(batch, now))
    written = _write(plan, now)
    refresh_due(written.trike_ids, now)
    _count(batch, plan)
    batch.state, batch.finished_at, batch.lease_until, batch.rows_done = State.APPLIED, now, None, batch.rows_total
    batch.save(update_fields=[*COUNTED, "state", "finished_at", "lease_until", "rows_done"])
    return batch


def _write(plan: Plan, now: datetime) -> Written:
    """Write a plan and its log entries. A step inside the caller's transaction."""
    bad = next((row for row in plan.verdicts.rows if plan.verdicts.verdict(row) == Verdict.BAD), None)
    if bad is not None:
        _, column, _, message = plan.verdicts.found[bad.number]
        raise ImportNoLongerFits(
            f"Row {bad.number}, {column}: {message}", field=column, remedy="Upload the file again."
        )
    written = plan.write()
    insert_rows(LogEntry, map(vars, chained_logs(written.logs, now)))
    return written


def _examine(sheet: Sheet, kind: str, context: Context) -> tuple[Plan, str]:
    """Return the plan for a sheet and how it was read, in words."""
    rows, unread = rows_of(sheet, kind)
    notes = list(sheet.notes) + ([f"columns not read: {', '.join(unread)}"] if unread else [])
    return EXAMINE[kind](rows, context), "; ".join(notes)


def _context(batch: ImportBatch, now: datetime) -> Context:
    return Context(now, batch.shift_days, batch.uploaded_by_id)


def _claim(batch_id: int, waiting: str, working: str, now: datetime) -> ImportBatch | None:
    """Take the batch by a guarded update: of several workers one wins. A lease that ran out may be taken over."""
    free = Q(state=waiting) | Q(state=working, lease_until__lt=now)
    if not ImportBatch.objects.filter(free, pk=batch_id).update(state=working, lease_until=now + LEASE):
        return None
    return ImportBatch.objects.get(pk=batch_id)


def _is_mine(batch: ImportBatch) -> bool:
    """Whether the lease taken with _claim still stands, with the row locked; else another worker took over."""
    mine = ImportBatch.objects.select_for_update(of=("self",)).filter(
        pk=batch.pk, state=batch.state, lease_until=batch.lease_until
    )
    return bool(mine.values_list("pk"))


@action
def _finish(batch: ImportBatch, state: str, message: str, now: datetime) -> ImportBatch:
    if _is_mine(batch):
        batch.state, batch.message, batch.finished_at, batch.lease_until = state, message[:400], now, None
        batch.save(update_fields=["state", "message", "finished_at", "lease_until"])
    return batch


@dataclass(frozen=True)
class Report:
    """What became of one file: its batch and the rows to look at (bad ones and questioned ones)."""

    batch: ImportBatch
    rows: list[ImportRow] = field(default_factory=list)

    @property
    def is_refused(self) -> bool:
        """Whether this file keeps everything from being written."""
        return self.batch.state == State.REFUSED or self.batch.rows_bad > 0


class _Undone(Exception):
    """Carries the reports out of a transaction that is rolled back."""

    def __init__(self, reports: list[Report]) -> None:
        super().__init__()
        self.reports = reports


Tell = Callable[[str, int, int], None]


def bring_in(
    *, files: Sequence[tuple[str, bytes]], kind: str | None = None, shift_days: int = 0, by: User | None = None,
    now: datetime, write: bool, tell: Tell = lambda words, done, total: None,
) -> list[Report]:  # fmt: skip
    """Check several files, each on top of the ones before it, and write all of them or nothing, in one transaction.

    Files are taken in the order catalogue, parts, deliveries, odometer, service book; the kind is guessed from the
    header unless given. Unless `write`, all is rolled back and only the reports remain. A refused file ends it.
    """
    opened: list[tuple[ImportBatch, Sheet]] = []
    for name, content in files:
        tell(f"reading {name}", len(opened), len(files))
        batch = _batch(kind or "", name, content, by, now, shift_days)
        try:
            sheet = open_sheet(content, SHEET_TITLES[kind] if kind else all_titles())
            batch.kind = kind or guess_kind(sheet.header)
            rows_of(sheet, batch.kind)
        except FileRefused as refusal:
            batch.state, batch.message = State.REFUSED, f"{refusal.message} {refusal.remedy}".strip()
            return [Report(batch)]
        opened.append((batch, sheet))
    opened.sort(key=lambda pair: ORDER.index(pair[0].kind))
    try:
        return _take_all(opened, now, write, tell)
    except _Undone as undone:
        return undone.reports


@action
def _take_all(opened: list[tuple[ImportBatch, Sheet]], now: datetime, write: bool, tell: Tell) -> list[Report]:
    reports: list[Report] = []
    touched: set[int] = set()
    for batch, sheet in opened:
        tell(f"{batch.file_name}", len(reports), len(opened) + 1)
        plan, notes = _examine(sheet, batch.kind, _context(batch, now))
        _count(batch, plan)
        batch.message, batch.state, batch.finished_at = notes[:400], State.APPLIED, now
        batch.rows_done = batch.rows_total
        batch.save()
        rows = plan.verdicts.as_rows(batch.pk)
        insert_rows(ImportRow, rows)
        reports.append(Report(batch, [ImportRow(**row) for row in rows if row["verdict"] in TO_LOOK_AT]))
        if reports[-1].is_refused:
            raise _Undone(reports)
        touched |= _write(plan, now).trike_ids
    if not write:
        raise _Undone(reports)
    tell("due lists", len(opened), len(opened) + 1)
    refresh_due(touched, now)
    tell("done", len(opened) + 1, len(opened) + 1)
    return reports
