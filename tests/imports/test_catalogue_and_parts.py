"""Catalogue and parts files: what is written, skipped and refused."""

from datetime import date

import pytest

from tests.imports.register import RATED, bring, part
from tracker.models import Component, PartType

pytestmark = pytest.mark.django_db


def entry(**more) -> dict:
    return {
        "Part number": "lf-b1",
        "Kind": "Battery",
        "Maker": "Hazelwick Parts",
        "Name": "Pack",
        "Rated values": RATED["battery"],
    } | more


def problem(report) -> tuple[str, str]:
    (row,) = [row for row in report.rows if row.verdict == "bad"]
    return row.code, row.field


def test_a_catalogue_row_becomes_a_part_type():
    bring("catalogue", entry())
    row = PartType.objects.get()
    assert (row.part_number, row.kind, row.rated) == ("LF-B1", "battery", {"rated_wh": 504, "nominal_v": 36})


def test_a_kind_is_known_by_its_title_too():
    bring("catalogue", entry(**{"Part number": "LF-M1", "Kind": "mid-drive motor", "Rated values": RATED["motor"]}))
    assert PartType.objects.get().kind == "motor"


def test_the_same_catalogue_again_writes_nothing():
    bring("catalogue", entry())
    again = bring("catalogue", entry())
    assert (again.batch.rows_skipped, PartType.objects.count()) == (1, 1)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"Kind": "sail"}, "Kind"),
        ({"Part number": ""}, "Part number"),
        ({"Name": ""}, "Name"),
        ({"Rated values": "rated_wh=504"}, "Rated values"),
        ({"Rated values": "rated_wh=many; nominal_v=36"}, "Rated values"),
        ({"Rated values": "rated_wh=999999; nominal_v=36"}, "Rated values"),
        ({"Rated values": "504"}, "Rated values"),
        ({"Maker": "x" * 81}, "Maker"),
    ],
)
def test_a_bad_catalogue_row_names_its_column_and_nothing_is_written(change, field):
    report = bring("catalogue", entry(**{"Part number": "LF-OK"}), entry(**change))
    assert problem(report)[1] == field
    assert not PartType.objects.exists()


def test_a_part_number_with_other_values_than_the_catalogue_is_refused():
    bring("catalogue", entry())
    assert problem(bring("catalogue", entry(Name="Other pack"))) == ("clash", "Part number")


def test_a_part_number_twice_with_other_values_is_refused_naming_the_row():
    report = bring("catalogue", entry(), entry(Name="Other pack"))
    assert "in row 2" in report.rows[0].message


def test_a_parts_row_becomes_a_component_and_makes_its_part_type():
    bring("parts", part("battery", " b\uff11 ", Firmware="2.1", Note="from the fair"))
    row = Component.objects.get()
    assert (row.serial, row.serial_as_typed, row.made_on, row.state) == ("B1", "b\uff11", date(2025, 1, 15), "in_stock")
    assert row.part_type.rated["rated_wh"] == 504


def test_a_part_type_of_the_catalogue_needs_only_its_number():
    bring("catalogue", entry())
    bring("parts", {"Serial": "B1", "Part number": "LF-B1"})
    assert Component.objects.get().part_type == PartType.objects.get()


def test_an_unknown_part_type_without_a_kind_is_refused_with_the_nearest_number():
    bring("catalogue", entry(**{"Part number": "LF-B100"}))
    report = bring("parts", {"Serial": "B1", "Part number": "LF-B101"})
    assert problem(report) == ("not-known", "Part number")
    assert "Is LF-B100 meant?" in report.rows[0].message
    assert not Component.objects.exists()


def test_an_unknown_part_type_without_its_rated_values_is_refused():
    assert problem(bring("parts", part("battery", "B1", **{"Rated values": ""})))[1] == "Rated values"


def test_a_batch_number_stands_in_for_a_serial():
    bring("parts", part("chain", "", Batch="2025-07"))
    assert str(Component.objects.get()) == "batch 2025-07"


def test_a_row_with_neither_serial_nor_batch_is_refused():
    assert problem(bring("parts", part("chain", ""))) == ("missing", "Serial")


def test_an_exact_repetition_is_skipped_and_says_of_which_row():
    report = bring("parts", part("chain", "C1"), part("chain", "C1"))
    assert (report.batch.rows_good, report.batch.rows_skipped, Component.objects.count()) == (1, 1, 1)
    assert report.batch.rows.get(number=3).message == "Same as row 2."


def test_the_same_serial_with_other_values_is_refused_naming_the_row():
    report = bring("parts", part("chain", "C1"), part("chain", "c1", Note="other"))
    assert problem(report) == ("clash", "Serial")
    assert "row 2" in report.rows[0].message
    assert not Component.objects.exists()


def test_a_serial_registered_as_another_part_is_refused():
    bring("parts", part("chain", "C1"))
    assert problem(bring("parts", part("battery", "C1"))) == ("clash", "Serial")


def test_the_same_parts_again_write_nothing():
    rows = [part("chain", "C1"), part("chain", "", Batch="2025-07")]
    bring("parts", *rows)
    again = bring("parts", *rows)
    assert (again.batch.rows_skipped, Component.objects.count(), PartType.objects.count()) == (2, 2, 1)


def test_the_same_parts_again_write_nothing_even_after_they_moved_on():
    bring("parts", part("chain", "C1"))
    Component.objects.update(state="fitted")
    assert bring("parts", part("chain", "C1")).batch.rows_skipped == 1
    assert Component.objects.get().state == "fitted"


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"Made on": "2026-05-02"}, "date-in-future", "Made on"),
        ({"Made on": "soon"}, "not-a-date", "Made on"),
        ({"State": "lost"}, "not-a-choice", "State"),
        ({"State": "fitted"}, "not-a-choice", "State"),
        ({"Serial": "C\u202e1"}, "bad-serial", "Serial"),
        ({"Serial": "x" * 41}, "bad-serial", "Serial"),
        ({"Serial": "1.23E+17"}, "bad-text", "Serial"),
        ({"Note": "x" * 501}, "out-of-range", "Note"),
        ({"Kind": "battery"}, "clash", "Part number"),
    ],
)
def test_a_bad_parts_row_names_its_column_and_nothing_is_written(change, code, field):
    report = bring("parts", part("chain", "C0"), part("chain", "C1") | change)
    assert problem(report) == (code, field)
    assert not Component.objects.exists()


def test_a_part_said_to_be_scrapped_is_registered_as_scrapped():
    bring("parts", part("chain", "C1", State="Scrapped"))
    assert Component.objects.get().state == "scrapped"


def test_odd_text_is_kept_as_typed():
    bring("parts", part("chain", "C1", Note='=HYPERLINK("x") <script> 😀'))
    assert Component.objects.get().note == '=HYPERLINK("x") <script> 😀'
