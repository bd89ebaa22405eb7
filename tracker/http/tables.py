"""Tables as answers: CSV, or a workbook with a sheet for each; no cell is a formula, numbers are numbers, days are days."""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.http import HttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from services.safe_cells import Value, csv_text, safe_cell
from tracker.http.pdf import file_name

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WIDEST, SAMPLE = 60, 200  # characters of a column; rows that are looked at for its width


@dataclass(frozen=True)
class Table:
    """A sheet: its name, its columns with their units, its rows."""

    name: str
    head: Sequence[str]
    rows: list[Sequence[Value]] = field(default_factory=list)


def csv_answer(table: Table, name: str) -> HttpResponse:
    """Return a table as a CSV file."""
    return _attached(csv_text(table.head, table.rows).encode(), "text/csv; charset=utf-8", f"{file_name(name)}.csv")


def xlsx_answer(tables: Sequence[Table], name: str) -> HttpResponse:
    """Return tables as a workbook."""
    return _attached(workbook(tables), XLSX, f"{file_name(name)}.xlsx")


def workbook(tables: Sequence[Table]) -> bytes:
    """Return tables as the bytes of a workbook, a sheet each, the head frozen."""
    book = Workbook(write_only=True)
    for table in tables:
        sheet = book.create_sheet(table.name[:31])
        sheet.freeze_panes = "A2"
        for letter, width in _widths(table):
            sheet.column_dimensions[letter].width = width
        sheet.append([_cell(sheet, title, bold=True) for title in table.head])
        for row in table.rows:
            sheet.append([_cell(sheet, value) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _cell(sheet: WriteOnlyWorksheet, value: Value, *, bold: bool = False) -> WriteOnlyCell:
    is_day = isinstance(value, date) and not isinstance(value, datetime)
    cell = WriteOnlyCell(sheet, value if is_day else safe_cell(value))
    if isinstance(value, str):
        cell.data_type = "s"  # text, whatever it looks like
    if is_day:
        cell.number_format = "yyyy-mm-dd"
    if bold:
        cell.font = Font(bold=True)
    return cell


def _widths(table: Table) -> list[tuple[str, float]]:
    columns = zip(table.head, *(map(str, row) for row in table.rows[:SAMPLE]), strict=True)
    return [
        (chr(ord("A") + at), min(max(map(len, column)) + 2, WIDEST)) for at, column in enumerate(columns) if at < 26
    ]


def _attached(content: bytes, content_type: str, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-store"}
    return HttpResponse(content, content_type=content_type, headers=headers)
