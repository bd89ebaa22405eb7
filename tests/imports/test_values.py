"""How cells are read: numbers, days, words, pairs; and what is refused rather than guessed."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.spreadsheets.pairs import number_and_unit, pairs_of
from tracker.spreadsheets.refusals import BadText, FormulaCell, NotADate, NotANumber, OutOfRange
from tracker.spreadsheets.row import Row
from tracker.spreadsheets.sheet import Broken, Formula
from tracker.spreadsheets.values import to_day, to_number, to_text, within

TODAY = date(2026, 5, 1)


def row(**cells) -> Row:
    return Row(2, {name.replace("_", " "): cell for name, cell in cells.items()})


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12", "12"),
        (" 12.5 ", "12.5"),
        ("0,62", "0.62"),
        ("12 480", "12480"),
        ("12\u00a0480,5", "12480.5"),
        ("12\u202f480", "12480"),
        ("1.234,5", "1234.5"),
        ("1,234.5", "1234.5"),
        ("12.345", "12.345"),
        ("-0", "0"),
        ("+7", "7"),
        (504, "504"),
        (12.1, "12.1"),
    ],
)
def test_numbers_are_read_exactly(cell, value):
    assert to_number(cell, "Reading") == Decimal(value)


@pytest.mark.parametrize(
    "cell",
    [
        "twelve",
        "",
        "1_000",
        "1e5",
        "NaN",
        "inf",
        "١٢",
        "12 km",
        "1,2,3",
        "0x10",
        "--1",
        True,
        float("nan"),
        float("inf"),
        datetime(2024, 3, 15, tzinfo=UTC),
        "9" * 40,
    ],
)
def test_what_is_no_number_is_refused_naming_the_column(cell):
    with pytest.raises(NotANumber) as refusal:
        to_number(cell, "Reading")
    assert refusal.value.field == "Reading"
    assert refusal.value.remedy


def test_a_comma_that_can_mean_thousands_or_decimals_is_not_guessed():
    with pytest.raises(NotANumber, match=r"can mean 1234 or 1\.234"):
        to_number("1,234", "Reading")


@given(st.decimals(min_value=0, max_value=999_999, places=2))
def test_a_written_number_reads_the_same_with_point_or_comma(number):
    assert to_number(f"{number:.2f}", "Reading") == to_number(f"{number:.2f}".replace(".", ","), "Reading") == number


def test_limits_are_named():
    with pytest.raises(OutOfRange, match="not between 0 and 1,000,000"):
        within(Decimal(-1), "Reading", 0, 1_000_000)


@pytest.mark.parametrize(
    "cell",
    [
        "2024-03-15",
        "15.03.2024",
        "15 Mar 2024",
        "15 March 2024",
        " 15  mar  2024 ",
        "2024-3-15",
        "2024-03-15 00:00:00",
        datetime(2024, 3, 15, 0, 0),
    ],  # a date cell has no zone
)
def test_dates_are_read_in_three_styles_and_as_real_dates(cell):
    assert to_day(cell, "Date") == date(2024, 3, 15)


@given(st.dates(min_value=date(1980, 1, 1), max_value=date(2100, 12, 31)))
def test_every_day_reads_the_same_in_all_styles(day):
    styles = (
        day.isoformat(),
        f"{day.day}.{day.month}.{day.year}",
        f"{day:%d.%m.%Y}",
        f"{day:%d %b %Y}",
        f"{day:%d %B %Y}",
    )
    assert {to_day(style, "Date") for style in styles} == {day}


@pytest.mark.parametrize(
    "cell",
    [
        "15/03/2024",
        "03/15/24",
        "2024-02-30",
        "32.01.2024",
        "15 Foo 2024",
        "yesterday",
        45366,
        "0000-01-01",
        "1970-01-01",
        "2024-03-15T25:00",
        True,
    ],
)
def test_other_dates_are_refused_and_told_how_to_write_them(cell):
    with pytest.raises(NotADate) as refusal:
        to_day(cell, "Date")
    assert refusal.value.field == "Date"
    assert refusal.value.remedy


def test_the_shift_moves_days():
    assert to_day("2024-02-28", "Date", 2) == date(2024, 3, 1)


def test_a_day_in_the_future_is_a_problem():
    line = row(Date="2026-05-02")
    assert line.day("Date", 0, TODAY) is None
    assert [p.code for p in line.problems] == ["date-in-future"]


@pytest.mark.parametrize("cell", [Formula("=A1+1"), Broken("#N/A")])
@pytest.mark.parametrize("read", [to_text, to_number, to_day])
def test_formulas_and_errors_are_refused_in_every_column(cell, read):
    with pytest.raises(FormulaCell) as refusal:
        read(cell, "Serial")
    assert refusal.value.field == "Serial"


@pytest.mark.parametrize("cell", [1.23456789e17, 10**16, "1.23E+17"])
def test_a_serial_that_the_spreadsheet_rounded_is_refused(cell):
    with pytest.raises(BadText, match="rounded"):
        to_text(cell, "Serial")


def test_a_serial_kept_as_a_whole_number_is_read():
    assert row(Serial=4711.0).serial("Serial") == "4711"


def test_serials_are_read_in_their_canonical_form():
    assert row(Serial="  lf\uff11  a ").serial("Serial") == "LF1 A"


@pytest.mark.parametrize("text", ["A\u202eB", "A\u200bB", "A\x07B", "x" * 41])
def test_a_serial_nobody_can_find_again_is_a_problem(text):
    line = row(Serial=text)
    assert line.serial("Serial") is None
    assert [p.field for p in line.problems] == ["Serial"]


def test_a_text_that_turns_its_direction_is_kept_as_it_stands():
    line = row(Note="A\u202eB")
    assert (line.text("Note", 120), line.problems) == ("A\u202eB", [])


def test_a_needed_cell_that_is_blank_is_a_problem():
    line = row(Owner="  ")
    assert line.text("Owner", 120, needed=True) == ""
    assert [(p.code, p.field) for p in line.problems] == [("missing", "Owner")]


def test_a_text_beyond_its_limit_is_a_problem_naming_the_limit():
    line = row(Note="x" * 201)
    line.text("Note", 200)
    assert "the limit is 200" in line.problems[0].message


def test_control_characters_in_a_text_are_a_problem():
    line = row(Note="a\x00b")
    line.text("Note", 200)
    assert [(p.code, p.field) for p in line.problems] == [("bad-text", "Note")]


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "=HYPERLINK(1)", "😀 cargo", "naïve – ok"])
def test_odd_but_harmless_text_is_kept_as_it_is(text):
    assert row(Note=text).text("Note", 200) == text


def test_choices_are_read_without_case_blanks_and_underscores():
    assert row(State="In_Stock ").choice("State", {"in stock": 1}) == 1


def test_an_unknown_choice_is_told_the_known_ones():
    line = row(State="lost")
    assert line.choice("State", {"in stock": 1, "scrapped": 2}) is None
    assert line.problems[0].remedy == "Write one of: in stock, scrapped."


def test_all_problems_of_a_row_are_collected():
    line = row(Serial="", Made_on="soon", Note="x" * 300)
    line.serial("Serial", needed=True)
    line.day("Made on", 0, TODAY)
    line.text("Note", 200)
    assert [p.field for p in line.problems] == ["Serial", "Made on", "Note"]


def test_pairs_are_read():
    assert pairs_of(row(Rated="rated_wh=504; nominal_v = 36;"), "Rated") == {"rated_wh": "504", "nominal_v": "36"}
    assert pairs_of(row(Rated=None), "Rated") == {}


@pytest.mark.parametrize("text", ["504", "=504", "a=1; a=2", "a="])
def test_what_is_not_made_of_pairs_is_a_problem(text):
    line = row(Rated=text)
    assert pairs_of(line, "Rated") == {}
    assert [p.field for p in line.problems] == ["Rated"]


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("150 psi", ("150", "psi")),
        ("0,62 %", ("0,62", "%")),
        ("12 480", ("12 480", "")),
        ("20°C", ("20", "°C")),
        ("soft", ("soft", "")),
    ],
)
def test_a_value_is_cut_from_its_unit(text, parts):
    assert number_and_unit(text) == parts


def test_a_row_with_more_cells_than_the_header_is_a_problem():
    line = Row.of(3, ("a", "b", "c"), {"A": 0, "B": 1}, 2)
    assert [p.code for p in line.problems] == ["too-many-cells"]


def test_a_short_row_is_filled_with_blanks():
    assert Row.of(3, ("a",), {"A": 0, "B": 1}, 2).cells == {"A": "a", "B": None}


def test_what_the_preview_repeats_can_be_stored():
    assert row(Note="a\x00\ud800b").raw() == {"Note": "a\N{REPLACEMENT CHARACTER}?b"}
