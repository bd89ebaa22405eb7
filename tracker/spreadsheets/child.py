"""Reads a workbook in a process of its own, see tracker/confined.py: rows go from there to here as JSON."""

import sys
from datetime import datetime

from tracker.confined import EmptyFile, FileTooLarge, answer_parent, read_in_child
from tracker.spreadsheets.limits import CHILD
from tracker.spreadsheets.refusals import NotASpreadsheet, UnsafeWorkbook
from tracker.spreadsheets.sheet import Broken, Cell, Formula, Sheet

KINDS = (EmptyFile, FileTooLarge, NotASpreadsheet, UnsafeWorkbook)
TAGS = {"formula": Formula, "broken": Broken, "date": datetime.fromisoformat}


def read_xlsx_in_child(content: bytes, titles: tuple[str, ...] = ()) -> Sheet:
    """Read a workbook as xlsx_file.read_xlsx does, in a child process.

    Raises: what read_xlsx raises; FileTooLarge when the child runs out of memory or time.
    """
    told = read_in_child(
        "tracker.spreadsheets.child", content, CHILD, *titles, kinds=KINDS,
        if_large="Split it into smaller files, or send it as CSV.",
    )  # fmt: skip
    rows = tuple((number, tuple(_from_json(cell) for cell in cells)) for number, cells in told["rows"])
    return Sheet(tuple(told["header"]), rows, tuple(told["notes"]))


def _from_json(cell) -> Cell:
    if not isinstance(cell, dict):
        return cell
    ((tag, text),) = cell.items()
    return TAGS[tag](text)


def _to_json(cell: Cell):
    if isinstance(cell, datetime):
        return {"date": cell.isoformat()}
    if isinstance(cell, Formula):
        return {"formula": cell.text}
    if isinstance(cell, Broken):
        return {"broken": cell.text}
    return cell


def _read(content: bytes) -> dict:
    from tracker.spreadsheets.xlsx_file import read_xlsx

    sheet = read_xlsx(content, sys.argv[1:])
    rows = [(number, [_to_json(cell) for cell in cells]) for number, cells in sheet.rows]
    return {"header": sheet.header, "rows": rows, "notes": sheet.notes}


if __name__ == "__main__":
    answer_parent(CHILD, _read)
