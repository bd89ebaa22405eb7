"""Cells that no spreadsheet takes for a formula."""

import csv
import io
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.safe_cells import csv_text, safe_cell, safe_text

# OWASP, CSV Injection: = + - @ tab carriage return; their full-width forms; after blanks or a byte order mark
FORMULAS = [
    "=1+1",
    "+44 20 7946 0312",
    "-2",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\uff1d1+1",
    " =1",
    "\ufeff=1",
    "\u3000=1",
    "\x00=1",
]


@pytest.mark.parametrize("text", FORMULAS)
def test_what_begins_like_a_formula_gets_an_apostrophe(text):
    assert safe_text(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "F26-1040", "Zoë Ångström", "a=b", "1 to 2"])
def test_other_texts_stay_as_they_are(text):
    assert safe_text(text) == text


@given(st.text(max_size=20))
def test_no_text_begins_with_a_sign_once_it_is_a_cell(text):
    assert safe_text(text)[:1] not in set("=+-@\t\r\x00")


def test_numbers_stay_numbers_and_days_are_iso():
    row = [-1.5, 3, None, date(2026, 5, 1), datetime(2026, 5, 1, 10, 0, tzinfo=UTC), True]
    assert [safe_cell(value) for value in row] == [-1.5, 3, "", "2026-05-01", "2026-05-01T10:00:00+00:00", "yes"]


def test_the_table_is_read_back_the_same():
    text = csv_text(["Serial", "Note"], [["A1", 'say "x",\nthen y'], ["=1", None]])
    assert text.startswith("\ufeff")
    assert list(csv.reader(io.StringIO(text[1:]))) == [["Serial", "Note"], ["A1", 'say "x",\nthen y'], ["'=1", ""]]
