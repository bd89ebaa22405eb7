"""Cells of tables that people open in a spreadsheet: no text of ours, or of anybody else, becomes a formula there.

A text that a spreadsheet would take for a formula gets an apostrophe before it, which spreadsheets hide. Source: OWASP,
CSV Injection (the characters = + - @, tab, carriage return; also full-width, also after blanks).
"""

import csv
import io
import unicodedata
from collections.abc import Iterable, Sequence
from datetime import date, datetime

_STARTS = frozenset("=+-@\t\r\x00|%")
_BLANKS = " \n\u00a0\ufeff\u200b\u3000"

Value = str | int | float | date | datetime | None


def safe_text(text: str) -> str:
    """Return `text` as a cell may hold it: what begins like a formula begins with an apostrophe."""
    bare = unicodedata.normalize("NFKC", text.lstrip(_BLANKS))
    return f"'{text}" if bare[:1] in _STARTS and bare else text


def safe_cell(value: Value) -> str | int | float:
    """Return a value as a cell: numbers as numbers, days and moments in ISO form, texts that are no formula."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    return value.isoformat() if isinstance(value, date | datetime) else safe_text(value)


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Value]]) -> str:
    """Return a table as CSV (RFC 4180) with a mark at its beginning by which spreadsheets know that it is UTF-8."""
    out = io.StringIO()
    out.write("\ufeff")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(map(safe_text, head))
    writer.writerows(map(safe_cell, row) for row in rows)
    return out.getvalue()
