"""Opens a file by what it contains, never by its name."""

from collections.abc import Iterable

from tracker.confined import check_size
from tracker.spreadsheets.child import read_xlsx_in_child
from tracker.spreadsheets.csv_file import read_csv
from tracker.spreadsheets.limits import MAX_BYTES
from tracker.spreadsheets.refusals import UnsafeWorkbook
from tracker.spreadsheets.sheet import Sheet
from tracker.spreadsheets.table import NEEDS_ROWS

ZIP = b"PK"
OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # .xls, and .xlsx with a password


def check_sheet_size(content: bytes) -> None:
    """Refuse a file of no bytes or too many. Cheap: the web process asks this before it keeps the file.

    Raises: EmptyFile, FileTooLarge.
    """
    check_size(content, MAX_BYTES, if_empty=NEEDS_ROWS, if_large="Split it into smaller files.")


def open_sheet(content: bytes, titles: Iterable[str] = ()) -> Sheet:
    """Return the table in `content`. Workbooks are read in a child process with limited memory and time.

    Raises: FileRefused in one of its kinds.
    """
    check_sheet_size(content)
    if content.startswith(OLD_OFFICE):
        raise UnsafeWorkbook(
            "The file is an old .xls workbook or has a password.",
            remedy="Save it as .xlsx without a password, or as CSV.",
        )
    if content.startswith(ZIP):
        return read_xlsx_in_child(content, tuple(titles))
    return read_csv(content)
