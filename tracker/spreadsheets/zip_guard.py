"""Looks a workbook over before it is opened: counted while inflating, and nothing that runs or reaches outside."""

import io
import zipfile
import zlib

from tracker.confined import FileTooLarge, say_bytes
from tracker.spreadsheets.limits import ZIP_INFLATED_BYTES, ZIP_MEMBERS, ZIP_RATIO
from tracker.spreadsheets.refusals import NotASpreadsheet, UnsafeWorkbook

SAVE_AGAIN = "Open it in your spreadsheet program and save it again as a plain .xlsx workbook."
PIECE = 64 * 1024


def check_workbook(content: bytes) -> None:
    """Refuse a zip that is no plain .xlsx workbook.

    Raises: NotASpreadsheet, UnsafeWorkbook, FileTooLarge.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            _check_names(archive.infolist())
            _check_inflated(archive, len(content))
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError, ValueError):
        raise NotASpreadsheet("The workbook is damaged.", remedy=SAVE_AGAIN) from None


def _check_names(members: list[zipfile.ZipInfo]) -> None:
    names = {member.filename.lower() for member in members}
    if len(members) > ZIP_MEMBERS:
        raise FileTooLarge(f"The workbook holds {len(members)} files; the limit is {ZIP_MEMBERS}.", remedy=SAVE_AGAIN)
    if any(member.flag_bits & 1 for member in members):
        raise UnsafeWorkbook("The workbook is encrypted.", remedy="Save it without a password.")
    if len(names) != len(members):
        raise UnsafeWorkbook("The workbook holds two files of the same name.", remedy=SAVE_AGAIN)
    if any("vbaproject" in name or "macrosheets" in name for name in names):
        raise UnsafeWorkbook("The workbook contains macros.", remedy="Save it as .xlsx, which has none.")
    if any("externallinks/" in name for name in names):
        raise UnsafeWorkbook(
            "The workbook is linked to other workbooks.",
            remedy="Paste the values in place of the links and save it again.",
        )
    if "[content_types].xml" not in names or "xl/workbook.xml" not in names:
        raise NotASpreadsheet("This is a zip file but not an .xlsx workbook.", remedy="Save it as .xlsx or as CSV.")


def _check_inflated(archive: zipfile.ZipFile, packed: int) -> None:
    total = 0
    for member in archive.infolist():
        with archive.open(member) as stream:
            first = True
            while piece := stream.read(PIECE):
                total += len(piece)
                _check_total(total, packed)
                if first:
                    _check_start(piece)
                first = False


def _check_total(total: int, packed: int) -> None:
    if total > ZIP_INFLATED_BYTES:
        raise FileTooLarge(
            f"The workbook inflates to more than {say_bytes(ZIP_INFLATED_BYTES)}.",
            remedy="Split it into smaller files.",
        )
    if total > ZIP_RATIO * packed:
        raise FileTooLarge(f"The workbook inflates to more than {ZIP_RATIO} times its size.", remedy=SAVE_AGAIN)


def _check_start(piece: bytes) -> None:
    if piece.startswith(b"PK\x03\x04"):
        raise UnsafeWorkbook("The workbook holds another zip file.", remedy="Remove embedded files and save it again.")
    if b"<!DOCTYPE" in piece or b"<!ENTITY" in piece:
        raise UnsafeWorkbook("The workbook defines XML entities.", remedy=SAVE_AGAIN)
