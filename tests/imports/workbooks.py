"""Workbooks and CSV files made on the fly, good ones and hostile ones."""

import csv
import io
import zipfile

from openpyxl import Workbook

from tracker.spreadsheets.layouts import LAYOUTS, OPTIONAL


def csv_bytes(header, rows, delimiter=",", encoding="utf-8") -> bytes:
    """Return a CSV file."""
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter)
    writer.writerow(header)
    writer.writerows(rows)
    return stream.getvalue().encode(encoding)


def file_of(kind, *rows, **how) -> bytes:
    """Return a CSV file of a kind; rows are dicts by column name, other columns stay blank."""
    told = {name for row in rows for name in row}
    header = [*LAYOUTS[kind], *(name for name in OPTIONAL.get(kind, ()) if name in told)]
    unknown = told - set(header)
    assert not unknown, unknown
    return csv_bytes(header, [[row.get(name, "") for name in header] for row in rows], **how)


def workbook_bytes(rows, title="Deliveries", more_sheets=()) -> bytes:
    """Return an .xlsx workbook of one filled sheet."""
    book = Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for name in more_sheets:
        book.create_sheet(name)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def workbook_of(kind, *rows, **how) -> bytes:
    """Return an .xlsx workbook of a kind; rows are dicts by column name."""
    header = LAYOUTS[kind]
    return workbook_bytes([header, *([row.get(name) for name in header] for row in rows)], **how)


def with_members(workbook: bytes, members: dict[str, bytes], replace: bool = False) -> bytes:
    """Return the workbook with more files inside."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            if not (replace and member.filename in members):
                new.writestr(member, old.read(member))
        for name, content in members.items():
            new.writestr(name, content)
    return stream.getvalue()
