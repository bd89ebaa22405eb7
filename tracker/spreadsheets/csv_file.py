"""Text with separators: UTF-8 with or without a byte order mark, UTF-16 with one, else Windows-1252."""

import codecs
import csv
import io
import re
from collections.abc import Iterator

from tracker.spreadsheets.limits import MAX_CELL_CHARACTERS
from tracker.spreadsheets.refusals import BadCsv, BadEncoding, NotASpreadsheet
from tracker.spreadsheets.sheet import Sheet
from tracker.spreadsheets.table import sheet_of

LINE_ENDS = re.compile(r"[\r\n]+")
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", "UTF-8 with a byte order mark"),
    (codecs.BOM_UTF32_LE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)


def read_csv(content: bytes) -> Sheet:
    """Read CSV bytes: encoding by its mark or by trial, separator by the header line.

    Raises: BadEncoding, BadCsv, NotASpreadsheet, EmptyFile, FileTooLarge.
    """
    text, encoding = decode(content)
    delimiter = sniff_delimiter(text)
    notes = (f"read as {encoding}, separated by {DELIMITERS[delimiter]}",)
    return sheet_of(_records(text, delimiter), notes)


def decode(content: bytes) -> tuple[str, str]:
    """Return the text and the name of its encoding. NUL is refused: it is never text.

    Raises: BadEncoding, NotASpreadsheet.
    """
    for mark, codec, name in MARKS:
        if content.startswith(mark):
            return _without_nul(_strictly(content, codec, name)), name
    if b"\x00" in content:
        raise NotASpreadsheet(
            "The file holds NUL bytes, so it is neither CSV text nor an .xlsx workbook.",
            remedy="Save it from your spreadsheet program as .xlsx or as CSV in UTF-8.",
        )
    try:
        return content.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return _strictly(content, "cp1252", "Windows-1252"), "Windows-1252"


def _strictly(content: bytes, codec: str, name: str) -> str:
    try:
        return content.decode(codec)
    except UnicodeDecodeError as error:
        raise BadEncoding(
            f"The file is not readable as {name}: byte {error.start + 1} makes no character.",
            remedy="Save it again as CSV in UTF-8.",
        ) from None


def _without_nul(text: str) -> str:
    if "\x00" in text:
        raise NotASpreadsheet("The file holds NUL characters.", remedy="Save it again as CSV in UTF-8.")
    return text


def sniff_delimiter(text: str) -> str:
    """Return the separator that cuts the first line with text into the most columns; comma if none does."""
    first = next((line for line in LINE_ENDS.split(text[:MAX_CELL_CHARACTERS]) if line.strip()), "")
    return max(DELIMITERS, key=lambda mark: (len(next(csv.reader([first], delimiter=mark), [])), mark == ","))


def _records(text: str, delimiter: str) -> Iterator[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        begun = reader.line_num + 1
        try:
            record = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise _bad_csv(str(error), begun) from None
        yield record


def _bad_csv(error: str, line: int) -> BadCsv:
    if "field larger" in error:
        return BadCsv(
            f"Line {line}: a cell is longer than {MAX_CELL_CHARACTERS:,} characters.",
            remedy="A quotation mark is probably not closed; close it or shorten the text.",
        )
    return BadCsv(
        f"Line {line} breaks the rules of CSV ({error}).",
        remedy="Write a quotation mark inside a quoted cell twice, and close every quoted cell.",
    )
