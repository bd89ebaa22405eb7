"""Words in cells become numbers, days and choices. Each function takes one cell and answers or refuses."""

import math
import re
from datetime import date, datetime, timedelta
from decimal import Decimal, InvalidOperation

from tracker.spreadsheets.refusals import BadText, FormulaCell, NotADate, NotANumber, OutOfRange
from tracker.spreadsheets.sheet import Broken, Cell, Formula, say

BLANKS = dict.fromkeys(map(ord, " \u00a0\u2007\u2009\u202f"))  # between thousands, any of these
PLAIN = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
GROUPED = {
    ".": re.compile(r"[+-]?[0-9]{1,3}(,[0-9]{3})+\.[0-9]+"),
    ",": re.compile(r"[+-]?[0-9]{1,3}(\.[0-9]{3})+,[0-9]+"),
}
AMBIGUOUS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
SHORTENED = re.compile(r"[0-9](\.[0-9]+)?E\+[0-9]+")
MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan january", "feb february", "mar march", "apr april", "may", "jun june", "jul july", "aug august",
         "sep sept september", "oct october", "nov november", "dec december"), start=1,
    ) for name in names.split()
}  # fmt: skip
ISO_DAY = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[T ]00:00(?::00)?)?")
DOTTED_DAY = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")
WORDY_DAY = re.compile(r"([0-9]{1,2})\.? ([A-Za-z]+)\.? ([0-9]{4})")
FIRST_YEAR, LAST_YEAR = 1980, 2100


def refuse_computed(cell: Cell, column: str) -> None:
    """Raises: FormulaCell for formulas and for cells that show an error."""
    if isinstance(cell, Formula):
        raise FormulaCell(
            f"The cell holds a formula ({cell.text[:40]}); formulas are not computed here.",
            field=column,
            remedy="Paste it as a value.",
        )
    if isinstance(cell, Broken):
        raise FormulaCell(f"The cell shows '{cell.text[:40]}'.", field=column, remedy="Write the value itself.")


def to_text(cell: Cell, column: str) -> str:
    """Return the cell's text, trimmed. A number so long that the spreadsheet has rounded it is refused.

    Raises: FormulaCell, BadText.
    """
    refuse_computed(cell, column)
    text = say(cell).strip()
    rounded = isinstance(cell, int | float) and not isinstance(cell, bool) and abs(cell) >= 1e15
    if rounded or SHORTENED.fullmatch(text):
        raise BadText(
            f"'{text}' is a long number that the spreadsheet has rounded.",
            field=column,
            remedy="Format the column as text and write it again.",
        )
    return text


def to_number(cell: Cell, column: str) -> Decimal:
    """Return the exact number. Decimal commas and blanks between thousands are read; guesses are not made.

    Raises: FormulaCell, NotANumber.
    """
    refuse_computed(cell, column)
    if isinstance(cell, bool | datetime) or (isinstance(cell, float) and not math.isfinite(cell)):
        raise _not_a_number(cell, column)
    if isinstance(cell, int | float):
        return Decimal(repr(cell))
    text = say(cell).strip().translate(BLANKS)
    if AMBIGUOUS.fullmatch(text):
        whole, thousandths = text.replace(",", ""), text.replace(",", ".")
        raise NotANumber(
            f"'{say(cell).strip()}' can mean {whole} or {thousandths}.",
            field=column,
            remedy="Write it without the comma.",
        )
    plain = _plain(text)
    if plain is None or len(plain) > 30:
        raise _not_a_number(cell, column)
    try:
        return Decimal(plain)
    except InvalidOperation:
        raise _not_a_number(cell, column) from None


def _plain(text: str) -> str | None:
    """The text with a decimal point and no grouping, or None if it is no number."""
    if GROUPED["."].fullmatch(text):
        return text.replace(",", "")
    if GROUPED[","].fullmatch(text):
        return text.replace(".", "").replace(",", ".")
    point = text.replace(",", ".")
    return point if PLAIN.fullmatch(point) else None


def _not_a_number(cell: Cell, column: str) -> NotANumber:
    return NotANumber(
        f"'{say(cell)[:40]}' is not a number.", field=column, remedy="Write digits, with a point or comma for decimals."
    )


def within(number: Decimal, column: str, low: float, high: float) -> Decimal:
    """Return `number` if it lies in [low, high].

    Raises: OutOfRange.
    """
    if not low <= number <= high:
        raise OutOfRange(
            f"{number} is not between {low:,} and {high:,}.", field=column, remedy="Check the number and its unit."
        )
    return number


def to_day(cell: Cell, column: str, shift_days: int = 0) -> date:
    """Return the day, moved by `shift_days`. Read: 2024-03-15, 15.03.2024, 15 Mar 2024, and real date cells.

    Raises: FormulaCell, NotADate.
    """
    refuse_computed(cell, column)
    day = cell.date() if isinstance(cell, datetime) else _written_day(say(cell), column)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise NotADate(f"The year {day.year} cannot be right.", field=column, remedy="Check the date.")
    return day + timedelta(days=shift_days)


def _written_day(text: str, column: str) -> date:
    tidy = " ".join(text.split())
    parts = _year_month_day(tidy)
    try:
        if parts is None:
            raise ValueError
        return date(*parts)
    except ValueError:
        raise NotADate(
            f"'{tidy[:40]}' is not a date that is read here.",
            field=column,
            remedy="Write it like 2024-03-15, 15.03.2024 or 15 Mar 2024.",
        ) from None


def _year_month_day(text: str) -> tuple[int, int, int] | None:
    if found := ISO_DAY.fullmatch(text):
        return int(found[1]), int(found[2]), int(found[3])
    if found := DOTTED_DAY.fullmatch(text):
        return int(found[3]), int(found[2]), int(found[1])
    if (found := WORDY_DAY.fullmatch(text)) and found[2].casefold() in MONTHS:
        return int(found[3]), MONTHS[found[2].casefold()], int(found[1])
    return None
