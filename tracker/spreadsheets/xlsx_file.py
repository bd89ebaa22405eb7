"""Workbooks: one sheet of an .xlsx, values only. Formulas are seen as formulas, so that the row can be refused."""

import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException
from openpyxl import load_workbook

from tracker.spreadsheets.refusals import NotASpreadsheet, UnsafeWorkbook
from tracker.spreadsheets.sheet import Broken, Cell, Formula, Sheet
from tracker.spreadsheets.table import sheet_of
from tracker.spreadsheets.zip_guard import SAVE_AGAIN, check_workbook

UNREADABLE = (KeyError, ValueError, TypeError, IndexError, AttributeError, ParseError, zipfile.BadZipFile, OSError)


def read_xlsx(content: bytes, titles: Iterable[str] = ()) -> Sheet:
    """Read one sheet of a workbook: the first whose name is among `titles`, else the first.

    Raises: UnsafeWorkbook, NotASpreadsheet, EmptyFile, FileTooLarge.
    """
    check_workbook(content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and validations that we do not look at
            book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
            return _read(book, {title.casefold() for title in titles})
    except DefusedXmlException:
        raise UnsafeWorkbook("The workbook defines XML entities.", remedy=SAVE_AGAIN) from None
    except UNREADABLE:
        raise NotASpreadsheet("The workbook cannot be read: parts of it are damaged.", remedy=SAVE_AGAIN) from None


def _read(book, wanted: set[str]) -> Sheet:
    sheets = [sheet for sheet in book.worksheets if hasattr(sheet, "iter_rows")]
    chosen = next((sheet for sheet in sheets if sheet.title.strip().casefold() in wanted), sheets[0])
    notes = [f"read from sheet '{chosen.title}'"]
    others = [sheet.title for sheet in sheets if sheet is not chosen]
    if others:
        notes.append("sheets not read: " + ", ".join(others))
    chosen.reset_dimensions()  # the dimensions written in the file may lie
    return sheet_of(_rows(chosen), tuple(notes))


def _rows(sheet) -> Iterator[list[Cell]]:
    for row in sheet.iter_rows():
        yield [_cell(cell) for cell in row]


def _cell(cell) -> Cell:
    value = cell.value
    if value is None:
        return None
    if cell.data_type == "f":
        return Formula(str(value if isinstance(value, str) else "=..."))
    if cell.data_type == "e":
        return Broken(str(value))
    if isinstance(value, str | bool | int | float | datetime):
        return value
    if isinstance(value, date):
        return datetime.combine(value, datetime.min.time())
    return Broken(str(value))  # times of day and spans of time
