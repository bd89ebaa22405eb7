"""What a table, a header or a cell is refused for, besides what tracker/confined.py says of files of any kind."""

from services.errors import Refusal
from tracker.confined import FileRefused


class NotASpreadsheet(FileRefused):
    """Neither an .xlsx workbook nor text with separators."""

    code = "not-a-spreadsheet"


class UnsafeWorkbook(FileRefused):
    """Macros, links to other files, encryption, files inside files."""

    code = "unsafe-workbook"


class BadEncoding(FileRefused):
    """The bytes are not text in an encoding we read."""

    code = "bad-encoding"


class BadCsv(FileRefused):
    """The text breaks the rules of CSV."""

    code = "bad-csv"


class WrongHeader(FileRefused):
    """Columns are missing, or stand there twice."""

    code = "wrong-header"


class CellRefused(Refusal):
    """One cell cannot be used. `field` names its column."""

    code = "bad-cell"
    status = "invalid"


class MissingCell(CellRefused):
    """A value is needed here."""

    code = "missing"


class FormulaCell(CellRefused):
    """A formula instead of a value."""

    code = "formula"


class NotANumber(CellRefused):
    """Text where a number belongs."""

    code = "not-a-number"


class OutOfRange(CellRefused):
    """A number or a text beyond its limits."""

    code = "out-of-range"


class NotADate(CellRefused):
    """Not one of the dates we read."""

    code = "not-a-date"


class DateInFuture(CellRefused):
    """A day that has not come yet."""

    code = "date-in-future"


class NotAChoice(CellRefused):
    """None of the words that may stand here."""

    code = "not-a-choice"


class BadText(CellRefused):
    """Characters that no name or serial has."""

    code = "bad-text"


class TooManyCells(CellRefused):
    """The row has more cells than the header."""

    code = "too-many-cells"
