"""The demo workshop comes in through the same door as everybody's spreadsheets."""

import time
from collections import Counter
from csv import DictReader
from datetime import date
from pathlib import Path

import pytest

from tracker.actions.imports import bring_in
from tracker.actions.schedule import load_default_intervals
from tracker.models import Component, DueLine, Fitment, JobCard, LogEntry, OdometerReading, Trike, User
from tracker.queries.clock import noon
from tracker.queries.due import rebuild_differences
from tracker.queries.logbook import broken_chains

FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures"
NAMES = ("catalogue.csv", "parts.csv", "deliveries.xlsx", "odometer.csv", "service_book.csv")
NOW = noon(date.fromisoformat((FIXTURES / "anchor.txt").read_text().strip()))
MODELS = (Component, Trike, Fitment, OdometerReading, JobCard, LogEntry, User)

BROKEN = [
    ("deliveries_formula.xlsx", ("bad", "holds a formula")),
    ("deliveries_utf16.csv", ("bad", "No part has the serial")),  # read by its mark; its frame is in no parts file
    ("empty.csv", ("refused", "The file is empty.")),
    ("odometer_future.csv", ("bad", "lies in the future")),
    ("odometer_text.csv", ("bad", "is not a number")),
    ("parts_conflict.csv", ("bad", "stands in row 3 too, with other values")),
    ("parts_unknown_kind.csv", ("bad", "'gizmo' is not known here")),
    ("parts_wrong_header.csv", ("refused", "misses 'Serial' (is 'Serial no' meant?), 'Part number'")),
    ("service_book_unknown_trike.csv", ("bad", "No trike has the frame serial or plate LF-23-9999")),
]

pytestmark = pytest.mark.django_db


def take(name: str, write: bool = True):
    return bring_in(files=[(name, (FIXTURES / name).read_bytes())], now=NOW, write=write)[0]


def test_the_whole_demo_workshop_is_imported_and_a_second_time_changes_nothing(capsys):
    with (FIXTURES / "intervals.csv").open(newline="", encoding="utf-8") as stream:
        load_default_intervals(rows=list(DictReader(stream)), now=NOW)
    files = [(name, (FIXTURES / name).read_bytes()) for name in NAMES]
    begun = time.perf_counter()
    reports = bring_in(files=files, now=NOW, write=True)
    took = time.perf_counter() - begun
    with capsys.disabled():
        counts = ", ".join(f"{report.batch.kind} {report.batch.rows_total}" for report in reports)
        print(f"\nwhole demo import: {took:.1f} s ({counts} rows)")

    assert [report.batch.state for report in reports] == ["applied"] * 5
    assert Trike.objects.filter(state="delivered").count() == 240
    assert Component.objects.count() == pytest.approx(2_900, abs=100)
    doubts = Counter(row.code for row in reports[3].rows)
    assert sum(doubts.values()) == 6  # the slips planted in fixtures/maker/meters.py, and no other reading
    assert OdometerReading.objects.filter(verdict="suspect").count() == 6
    assert not JobCard.objects.exclude(state="signed").exists()
    assert list(broken_chains()) == []
    assert DueLine.objects.count() > 240 * 25
    assert rebuild_differences() == []

    before = [model.objects.count() for model in MODELS]
    again = bring_in(files=files, now=NOW, write=True)
    assert [report.batch.rows_total - report.batch.rows_skipped for report in again] == [0] * 5, again[3].rows
    assert [model.objects.count() for model in MODELS] == before


@pytest.mark.parametrize(("name", "verdict"), BROKEN)
def test_each_broken_file_gets_its_answer_and_nothing_is_written(name, verdict):
    report = take(f"bad/{name}")
    state, word = verdict
    if state == "refused":
        assert word in report.batch.message
    else:
        assert any(word in row.message for row in report.rows if row.verdict == "bad")
    assert report.is_refused
    assert [model.objects.count() for model in MODELS] == [0] * len(MODELS)


def test_every_broken_file_is_named_above():
    assert {name for name, _ in BROKEN} == {path.name for path in (FIXTURES / "bad").iterdir()}
