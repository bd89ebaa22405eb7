"""Odometer files: readings with their verdict, display changes from notes."""

from decimal import Decimal

import pytest

from tests import factories as make
from tests.imports.register import bring, furnish, reading
from tracker.models import DisplayChange, LogEntry, OdometerReading, Trike
from tracker.queries.life import clocks_of
from tracker.queries.logbook import broken_chains

pytestmark = pytest.mark.django_db


@pytest.fixture
def trikes():
    furnish(1, 2)


def told() -> list[tuple[str, str]]:
    rows = OdometerReading.objects.exclude(source="handover").order_by("read_at", "pk")
    return [(f"{row.value.normalize():f}", row.verdict) for row in rows]


def test_readings_are_written_with_who_told_them(trikes):
    bring(
        "odometer",
        reading(1, "2025-08-01", "480"),
        reading(2, "2025-09-01", "300,5", Unit="miles", Source="Service desk"),
    )
    rows = OdometerReading.objects.exclude(source="handover").order_by("read_at")
    assert [(row.value, row.unit, row.source, row.verdict) for row in rows] == [
        (480, "km", "owner", "accepted"),
        (Decimal("300.5"), "mi", "desk", "accepted"),
    ]


def test_a_trike_is_known_by_its_plate_too(trikes):
    bring("odometer", reading(1, "2025-08-01", "480", Trike="lt-2"))
    assert OdometerReading.objects.exclude(source="handover").get().trike.frame_serial == "F2"


def test_a_reading_below_the_last_is_questioned_and_written_as_suspect(trikes):
    report = bring("odometer", reading(1, "2025-08-01", "480"), reading(1, "2025-09-01", "48"))
    assert [(row.verdict, row.field, row.code) for row in report.rows] == [
        ("questioned", "Reading", "below-the-last-reading")
    ]
    assert told() == [("480", "accepted"), ("48", "suspect")]
    assert OdometerReading.objects.get(verdict="suspect").proposals


def test_readings_are_judged_in_the_order_of_their_days_not_of_their_rows(trikes):
    report = bring("odometer", reading(1, "2025-10-01", "900"), reading(1, "2025-08-01", "480"))
    assert (report.batch.rows_good, report.rows) == (2, [])


def test_impossible_speed_in_an_import_is_questioned_not_refused(trikes):
    report = bring("odometer", reading(1, "2025-05-03", "5000"))
    assert (report.batch.rows_questioned, told()) == (1, [("5000", "suspect")])


@pytest.mark.parametrize("note", ["display swapped, old 480, new 0", "Display swapped; old 480; new 0"])
def test_a_swapped_display_becomes_a_display_change_and_the_distance_goes_on(trikes, note):
    bring(
        "odometer",
        reading(1, "2025-08-01", "480"),
        reading(1, "2025-09-01", "", Note=note),
        reading(1, "2025-10-01", "100"),
    )
    change = DisplayChange.objects.get()
    assert (change.old_final_km, change.new_start_km, change.reason) == (480, 0, note)
    assert told() == [("480", "accepted"), ("100", "accepted")]
    trike = Trike.objects.get(frame_serial="F1")
    assert clocks_of([trike.pk])[trike.pk].timeline.last_km == pytest.approx(480 - 12.5 + 100)


def test_an_unknown_last_value_is_left_open(trikes):
    bring("odometer", reading(1, "2025-09-01", "", Note="display swapped, old unknown, new 0"))
    assert DisplayChange.objects.get().old_final_km is None


def test_a_swapped_display_is_told_in_the_unit_of_the_row(trikes):
    bring("odometer", reading(1, "2025-09-01", "", Unit="mi", Note="display swapped, old 100, new 0"))
    assert DisplayChange.objects.get().old_final_km == pytest.approx(160.9344)  # NIST SP 811: 1 mile = 1.609 344 km


def test_the_value_the_new_display_began_with_is_no_reading_of_its_own(trikes):
    bring("odometer", reading(1, "2025-09-01", "0", Note="display swapped, old 480, new 0"))
    assert (told(), DisplayChange.objects.count()) == ([], 1)


@pytest.mark.parametrize(
    "note", ["display swapped", "display swapped, old many, new 0", "display swapped, old 1, new -5"]
)
def test_a_swapped_display_without_its_values_is_refused(trikes, note):
    report = bring("odometer", reading(1, "2025-09-01", "0", Note=note))
    assert [(row.verdict, row.field) for row in report.rows] == [("bad", "Note")]
    assert "old 4812, new 0" in report.rows[0].message


def test_every_reading_stands_in_the_logbook_in_order_of_time(trikes):
    bring("odometer", reading(1, "2025-10-01", "900"), reading(1, "2025-08-01", "480"))
    entries = LogEntry.objects.filter(kind="reading").order_by("seq")
    assert [entry.body["value"] for entry in entries] == ["480.000", "900.000"]
    assert list(broken_chains()) == []


def test_the_same_readings_again_write_nothing(trikes):
    rows = [
        reading(1, "2025-08-01", "480"),
        reading(1, "2025-09-01", "0", Note="display swapped, old 600, new 0"),
        reading(1, "2025-09-20", "9000"),
    ]
    bring("odometer", *rows)
    before = told(), DisplayChange.objects.count(), LogEntry.objects.count()
    again = bring("odometer", *rows)
    assert again.batch.rows_skipped == 3
    assert (told(), DisplayChange.objects.count(), LogEntry.objects.count()) == before


def test_an_exact_repetition_is_skipped(trikes):
    report = bring("odometer", reading(1, "2025-08-01", "480"), reading(1, "2025-08-01", "480"))
    assert (report.batch.rows_good, report.batch.rows_skipped) == (1, 1)


def test_the_same_reading_written_another_way_is_skipped(trikes):
    report = bring("odometer", reading(1, "2025-08-01", "480"), reading(1, "01.08.2025", "480,0", Trike="LT-1"))
    assert (report.batch.rows_skipped, told()) == (1, [("480", "accepted")])


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"Date": "2026-05-02"}, "date-in-future", "Date"),
        ({"Date": "2025-04-30"}, "reading-before-delivery", "Date"),
        ({"Date": ""}, "missing", "Date"),
        ({"Trike": "F9"}, "not-known", "Trike"),
        ({"Trike": ""}, "missing", "Trike"),
        ({"Reading": ""}, "missing", "Reading"),
        ({"Reading": "a lot"}, "not-a-number", "Reading"),
        ({"Reading": "NaN"}, "not-a-number", "Reading"),
        ({"Reading": "1e400"}, "not-a-number", "Reading"),
        ({"Reading": "1" * 40}, "not-a-number", "Reading"),
        ({"Reading": "-5"}, "out-of-range", "Reading"),
        ({"Reading": "1000001"}, "out-of-range", "Reading"),
        ({"Reading": "700000", "Unit": "mi"}, "bad-number", "Reading"),
        ({"Unit": "leagues"}, "not-a-choice", "Unit"),
        ({"Source": "a bird"}, "not-a-choice", "Source"),
        ({"Note": "x" * 201}, "out-of-range", "Note"),
    ],
)
def test_a_bad_reading_names_its_column_and_nothing_is_written(trikes, change, code, field):
    report = bring("odometer", reading(2, "2025-08-01", "300"), reading(1, "2025-08-01", "480") | change)
    assert [(row.code, row.field) for row in report.rows] == [(code, field)]
    assert report.rows[0].message
    assert told() == []


def test_a_retired_trike_takes_no_readings(trikes):
    Trike.objects.filter(frame_serial="F1").update(state="retired")
    report = bring("odometer", reading(1, "2025-08-01", "480"))
    assert [(row.code, row.field) for row in report.rows] == [("clash", "Trike")]


def test_an_unknown_trike_is_told_the_nearest(trikes):
    Trike.objects.filter(frame_serial="F1").update(frame_serial="LF-2025-0001")
    report = bring("odometer", reading(1, "2025-08-01", "480", Trike="LF-2025-001"))
    assert "Is LF-2025-0001 meant?" in report.rows[0].message


def test_a_first_reading_is_judged_from_the_handover_and_one_of_a_later_display_is_not(trikes):
    for number in (8, 9):
        make.TrikeFactory(frame_serial=f"F{number}", plate=None, odometer_zero_km=12.0)
    make.DisplayChangeFactory(trike=Trike.objects.get(frame_serial="F9"), changed_at=make.DELIVERED, old_final_km=12.0)
    bring("odometer", reading(8, "2025-05-08", "5"), reading(9, "2025-05-08", "5"))
    assert dict(OdometerReading.objects.filter(value=5).values_list("trike__frame_serial", "verdict")) == {
        "F8": "suspect", "F9": "accepted",
    }  # fmt: skip
