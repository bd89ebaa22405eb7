"""Headers: found whatever their case, refused with the nearest match when a column is missing."""

import pytest

from tests.imports.workbooks import csv_bytes, file_of
from tracker.spreadsheets.layouts import LAYOUTS, guess_kind, rows_of
from tracker.spreadsheets.opening import open_sheet
from tracker.spreadsheets.refusals import WrongHeader


@pytest.mark.parametrize("kind", LAYOUTS)
def test_every_kind_is_known_by_its_header(kind):
    assert guess_kind(LAYOUTS[kind]) == kind


@pytest.mark.parametrize("kind", LAYOUTS)
def test_a_missing_column_is_named_with_what_may_be_meant(kind):
    header = [name + "s" if name == LAYOUTS[kind][0] else name for name in LAYOUTS[kind]]
    sheet = open_sheet(csv_bytes(header, [["x"]]))
    with pytest.raises(WrongHeader) as refusal:
        rows_of(sheet, kind)
    assert f"misses '{LAYOUTS[kind][0]}' (is '{LAYOUTS[kind][0]}s' meant?)" in refusal.value.message
    assert refusal.value.field == LAYOUTS[kind][0]
    assert LAYOUTS[kind][-1] in refusal.value.remedy


def test_a_header_of_nothing_known_is_refused_naming_the_nearest_kind():
    with pytest.raises(WrongHeader, match="odometer file misses 'Trike'"):
        guess_kind(("Date", "Reading", "Unit", "Source", "Note", "Bike"))


def test_case_blanks_and_order_of_columns_do_not_matter():
    sheet = open_sheet(
        csv_bytes([" note", "READING", "trike ", "unit", "date", "Source"], [["n", "5", "F1", "", "d", ""]])
    )
    rows, unread = rows_of(sheet, "odometer")
    assert (rows[0].cells["Reading"], rows[0].cells["Trike"], unread) == ("5", "F1", [])


def test_columns_that_are_not_read_are_told():
    sheet = open_sheet(csv_bytes([*LAYOUTS["odometer"], "Weather"], [["x"] * 7]))
    assert rows_of(sheet, "odometer")[1] == ["Weather"]


def test_a_column_that_stands_twice_is_refused():
    sheet = open_sheet(csv_bytes([*LAYOUTS["odometer"], "trike"], [["x"] * 7]))
    with pytest.raises(WrongHeader, match="twice"):
        rows_of(sheet, "odometer")


def test_a_file_made_for_a_kind_reads_as_that_kind():
    rows, _ = rows_of(open_sheet(file_of("parts", {"Serial": "A1"}, {"Serial": "A2"}, delimiter=";")), "parts")
    assert [row.cells["Serial"] for row in rows] == ["A1", "A2"]
