"""What a file may be, read by its content and not by its name."""

import io
import struct
import time
import zipfile
from datetime import datetime

import pytest

from tests.imports.workbooks import csv_bytes, with_members, workbook_bytes
from tracker.confined import EmptyFile, FileTooLarge
from tracker.spreadsheets import limits
from tracker.spreadsheets.opening import check_sheet_size, open_sheet
from tracker.spreadsheets.refusals import BadCsv, BadEncoding, NotASpreadsheet, UnsafeWorkbook
from tracker.spreadsheets.sheet import Broken, Formula
from tracker.spreadsheets.xlsx_file import read_xlsx
from tracker.spreadsheets.zip_guard import check_workbook

HEADER = ("Date", "Trike", "Reading")
ROW = ("2024-03-15", "F1", "12")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_separator_is_found(delimiter):
    sheet = open_sheet(csv_bytes(HEADER, [ROW], delimiter))
    assert sheet.header == HEADER
    assert sheet.rows == ((2, ROW),)


@pytest.mark.parametrize(
    ("encoding", "told"),
    [("utf-8", "UTF-8,"), ("utf-8-sig", "byte order mark"), ("utf-16", "UTF-16"), ("cp1252", "Windows-1252")],
)
def test_each_usual_encoding_is_read_and_told(encoding, told):
    sheet = open_sheet(csv_bytes(("Maker", "Name"), [("Håkon & Söhne", "Hülse")], encoding=encoding))
    assert sheet.rows == ((2, ("Håkon & Söhne", "Hülse")),)
    assert told in sheet.notes[0]


def test_utf16_without_a_mark_is_refused():
    with pytest.raises(NotASpreadsheet, match="NUL"):
        open_sheet(csv_bytes(HEADER, [ROW], encoding="utf-16-le"))


def test_nul_behind_a_byte_order_mark_is_refused():
    with pytest.raises(NotASpreadsheet, match="NUL"):
        open_sheet(b"\xef\xbb\xbfDate,Trike\n2024-03-15,F\x001\n")


def test_bytes_that_are_no_text_are_refused_naming_the_place():
    with pytest.raises(BadEncoding, match="byte 6 "):
        open_sheet(b"Date,\x81Trike\n1,2\n")


def test_a_broken_mark_is_refused():
    with pytest.raises(BadEncoding, match="UTF-8 with a byte order mark"):
        open_sheet(b"\xef\xbb\xbfDate,\xff\n1,2\n")


@pytest.mark.parametrize("content", [b"", b"  \r\n\t"])
def test_an_empty_file_is_refused(content):
    with pytest.raises(EmptyFile):
        open_sheet(content)


def test_a_file_of_blank_cells_is_refused():
    with pytest.raises(EmptyFile, match="is empty"):
        open_sheet(b",,,\n,,,\n")


def test_a_header_without_rows_is_refused():
    with pytest.raises(EmptyFile, match="no row below"):
        open_sheet(csv_bytes(HEADER, []))


def test_five_megabytes_are_the_limit_and_the_message_names_it():
    check_sheet_size(b"x" * limits.MAX_BYTES)
    with pytest.raises(FileTooLarge, match="the limit is 5 MB"):
        check_sheet_size(b"x" * (limits.MAX_BYTES + 1))


def test_twenty_thousand_rows_are_read():
    assert len(open_sheet(b"a,b\n" + b"1,2\n" * 20_000).rows) == 20_000


def test_one_row_more_is_refused_and_the_limit_named():
    with pytest.raises(FileTooLarge, match="more than 20,000 rows"):
        open_sheet(b"a,b\n" + b"1,2\n" * 20_001)


def test_a_hundred_thousand_rows_are_refused_without_reading_them_all():
    begun = time.perf_counter()
    with pytest.raises(FileTooLarge):
        open_sheet(b"a,b\n" + b"1,2\n" * 100_000)
    assert time.perf_counter() - begun < 2


def test_a_hundred_and_one_columns_are_refused():
    with pytest.raises(FileTooLarge, match="101 columns; the limit is 100"):
        open_sheet(csv_bytes([f"c{n}" for n in range(101)], [["1"] * 101]))


def test_rows_are_numbered_as_the_spreadsheet_counts_them():
    sheet = open_sheet(b'a,b\r\n"two\r\nlines",2\r\n\r\n3,4\r\n')
    assert [number for number, _ in sheet.rows] == [2, 4]


def test_mixed_line_ends_are_read():
    assert len(open_sheet(b"a,b\r1,2\n3,4\r\n5,6").rows) == 3


def test_an_open_quotation_mark_is_refused_naming_the_line():
    with pytest.raises(BadCsv, match="Line 2"):
        open_sheet(b'a,b\n"1,2\n3,4\n')


def test_a_cell_beyond_the_limit_is_refused_naming_it():
    with pytest.raises(BadCsv, match="131,072"):
        open_sheet(b"a,b\n" + b"x" * 131_073 + b",2\n")


def test_a_workbook_is_read_whatever_its_name():
    content = workbook_bytes([HEADER, (datetime(2024, 3, 15), "F1", 12.5)])  # a date cell has no zone
    sheet = open_sheet(content)
    assert sheet.rows == ((2, (datetime(2024, 3, 15), "F1", 12.5)),)


def test_the_sheet_with_the_expected_name_is_chosen_and_the_others_are_told():
    content = workbook_bytes([HEADER, ROW], title="Odometer", more_sheets=["Notes"])
    assert "sheets not read: Notes" in open_sheet(content, ["odometer"]).notes


def test_formulas_and_errors_are_seen_as_such():
    sheet = open_sheet(workbook_bytes([HEADER, ("2024-03-15", "=A1", "#REF!")]))
    assert sheet.rows[0][1][1:] == (Formula("=A1"), Broken("#REF!"))


def test_times_and_spans_are_no_values():
    sheet = open_sheet(workbook_bytes([HEADER, (datetime(2024, 3, 15).time().replace(hour=3), True, 2)]))
    assert sheet.rows[0][1] == (Broken("03:00:00"), True, 2)


def test_rows_far_down_a_workbook_keep_their_number():
    rows = [HEADER, *([()] * 30), ROW]
    assert open_sheet(workbook_bytes(rows)).rows[0][0] == 32


def test_the_dimensions_written_in_a_workbook_do_not_hide_rows():
    content = workbook_bytes([HEADER, *[ROW] * 5])
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        xml = book.read("xl/worksheets/sheet1.xml").replace(b'ref="A1:C6"', b'ref="A1:C2"')
    lying = with_members(content, {"xl/worksheets/sheet1.xml": xml}, replace=True)
    assert len(open_sheet(lying).rows) == 5


def test_more_rows_than_the_limit_in_a_workbook_are_refused():
    book = workbook_bytes([("a",), *[("1",)] * 20_001])
    with pytest.raises(FileTooLarge, match="20,000 rows"):
        open_sheet(book)


@pytest.mark.parametrize(
    ("name", "refusal", "words"),
    [
        ("xl/vbaProject.bin", UnsafeWorkbook, "macros"),
        ("xl/macrosheets/sheet1.xml", UnsafeWorkbook, "macros"),
        ("xl/externalLinks/externalLink1.xml", UnsafeWorkbook, "linked"),
    ],
)
def test_a_workbook_with_code_or_links_is_refused(name, refusal, words):
    with pytest.raises(refusal, match=words):
        open_sheet(with_members(workbook_bytes([HEADER, ROW]), {name: b"x"}))


def test_a_zip_inside_the_workbook_is_refused():
    inner = workbook_bytes([HEADER, ROW])
    with pytest.raises(UnsafeWorkbook, match="another zip"):
        open_sheet(with_members(workbook_bytes([HEADER, ROW]), {"xl/embeddings/inner.bin": inner}))


def test_a_workbook_that_defines_entities_is_refused():
    bomb = b'<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY lol "lol">]><worksheet/>'
    with pytest.raises(UnsafeWorkbook, match="entities"):
        open_sheet(with_members(workbook_bytes([HEADER, ROW]), {"xl/worksheets/sheet1.xml": bomb}, replace=True))


def test_entities_hidden_in_utf16_are_refused_by_the_parser():
    bomb = '<?xml version="1.0" encoding="utf-16"?><!DOCTYPE lolz [<!ENTITY lol "lol">]><worksheet/>'.encode("utf-16")
    with pytest.raises((UnsafeWorkbook, NotASpreadsheet)):
        open_sheet(with_members(workbook_bytes([HEADER, ROW]), {"xl/workbook.xml": bomb}, replace=True))


def test_a_zip_bomb_is_refused_while_it_inflates_and_quickly():
    bomb = with_members(workbook_bytes([HEADER, ROW]), {"xl/media/bomb.bin": bytes(60 * 1024**2)})
    assert len(bomb) < 200_000
    begun = time.perf_counter()
    with pytest.raises(FileTooLarge, match="100 times"):
        open_sheet(bomb)
    assert time.perf_counter() - begun < 2


def test_inflating_beyond_fifty_megabytes_is_refused_naming_the_limit():
    filler = bytes(range(256)) * 4096  # 1 MB that packs less well, so that the ratio does not speak first
    packed = {f"xl/media/{n}.bin": bytes(52 * 1024**2) if n == 0 else filler for n in range(1)}
    packed["xl/media/noise.bin"] = random_bytes(600_000)
    with pytest.raises(FileTooLarge, match="more than 50 MB"):
        check_workbook(with_members(workbook_bytes([HEADER, ROW]), packed))


def random_bytes(count: int) -> bytes:
    """Return bytes that do not pack, the same in every run."""
    state, out = 1, bytearray()
    while len(out) < count:
        state = (state * 6364136223846793005 + 1442695040888963407) % 2**64
        out += struct.pack("<Q", state)
    return bytes(out[:count])


def test_sizes_that_lie_in_the_directory_do_not_help_a_bomb():
    bomb = with_members(workbook_bytes([HEADER, ROW]), {"xl/media/bomb.bin": bytes(60 * 1024**2)})
    lying = bomb.replace(struct.pack("<I", 60 * 1024**2), struct.pack("<I", 100))
    with pytest.raises((FileTooLarge, NotASpreadsheet)):
        open_sheet(lying)


def test_more_than_two_hundred_files_inside_are_refused():
    many = {f"xl/media/{n}.txt": b"x" for n in range(200)}
    with pytest.raises(FileTooLarge, match="the limit is 200"):
        open_sheet(with_members(workbook_bytes([HEADER, ROW]), many))


def test_an_encrypted_zip_is_refused():
    content = bytearray(workbook_bytes([HEADER, ROW]))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = -1
        while (place := content.find(mark, place + 1)) >= 0:
            content[place + offset] |= 1
    with pytest.raises(UnsafeWorkbook, match="encrypted"):
        open_sheet(bytes(content))


def test_an_old_or_password_protected_workbook_is_refused():
    with pytest.raises(UnsafeWorkbook, match="password"):
        open_sheet(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"x" * 600)


def test_a_zip_that_is_no_workbook_is_refused():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("readme.txt", "hello")
    with pytest.raises(NotASpreadsheet, match=r"not an \.xlsx"):
        open_sheet(stream.getvalue())


def test_a_damaged_workbook_is_refused():
    content = workbook_bytes([HEADER, ROW])
    with pytest.raises(NotASpreadsheet, match="damaged"):
        open_sheet(content[: len(content) // 2])


def test_a_workbook_with_a_broken_sheet_is_refused():
    content = with_members(workbook_bytes([HEADER, ROW]), {"xl/worksheets/sheet1.xml": b"<worksheet><sh"}, replace=True)
    with pytest.raises(NotASpreadsheet, match="damaged"):
        read_xlsx(content)


def test_a_picture_is_refused():
    with pytest.raises(NotASpreadsheet):
        open_sheet(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
