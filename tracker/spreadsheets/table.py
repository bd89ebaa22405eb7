"""Cuts rows of cells into a header and what stands below it, within the limits."""

from collections.abc import Iterable

from tracker.confined import EmptyFile, FileTooLarge
from tracker.spreadsheets.limits import MAX_COLUMNS, MAX_ROWS
from tracker.spreadsheets.sheet import Cell, Sheet, say, trim

NEEDS_ROWS = "Send a file with a header in its first row and data below it."


def sheet_of(rows: Iterable[Iterable[Cell]], notes: tuple[str, ...] = ()) -> Sheet:
    """Return the sheet. Stops reading at the first row or column over the limit.

    Raises: EmptyFile, FileTooLarge.
    """
    header: tuple[str, ...] = ()
    kept: list[tuple[int, tuple[Cell, ...]]] = []
    for number, row in enumerate(rows, start=1):
        cells = trim(tuple(row))
        _within_columns(len(cells), number)
        if not cells:
            continue
        if not header:
            header = tuple(" ".join(say(cell).split()) for cell in cells)
            continue
        if len(kept) == MAX_ROWS:
            raise FileTooLarge(
                f"The file has more than {MAX_ROWS:,} rows.",
                remedy=f"Split it into files of at most {MAX_ROWS:,} rows.",
            )
        kept.append((number, cells))
    if not header:
        raise EmptyFile("The file is empty.", remedy=NEEDS_ROWS)
    if not kept:
        raise EmptyFile("The file has a header but no row below it.", remedy="Add rows, or send another file.")
    return Sheet(header, tuple(kept), notes)


def _within_columns(count: int, number: int) -> None:
    if count > MAX_COLUMNS:
        raise FileTooLarge(
            f"Row {number} has {count} columns; the limit is {MAX_COLUMNS}.",
            remedy="Delete the columns that do not belong to the import.",
        )
