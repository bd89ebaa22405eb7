"""Catalogue files: one part type per row."""

from collections.abc import Sequence

from tracker.actions.importing.part_types import KINDS, TypeBook, clash_of_types, describe
from tracker.actions.importing.plan import Context, Plan, Verdicts, Written
from tracker.spreadsheets.row import Row


def examine(rows: Sequence[Row], context: Context) -> Plan:
    """Judge every row against the catalogue and the rest of the file."""
    verdicts = Verdicts(rows)
    book = TypeBook.of(rows)
    for row in verdicts.fresh():
        _examine_row(row, book, verdicts)
    verdicts.settle()

    def write() -> Written:
        book.write()
        return Written()

    return Plan(verdicts, write)


def _examine_row(row: Row, book: TypeBook, verdicts: Verdicts) -> None:
    kind = row.choice("Kind", KINDS, needed=True)
    number = row.serial("Part number", needed=True)
    row.text("Name", 120, needed=True)
    if kind is None or number is None or row.problems:
        return
    before = book.get(number)
    if before is None:
        book.add(row, kind, number)
        return
    again = TypeBook({}).add(row, kind, number)
    if again is None:
        return
    added_by = book.rows.get(number)
    if describe(again) == describe(before):
        verdicts.skip(row, f"Same as row {added_by}." if added_by else "Already in the catalogue.")
    else:
        row.refuse(clash_of_types(number, f"in row {added_by}" if added_by else "in the catalogue"))
