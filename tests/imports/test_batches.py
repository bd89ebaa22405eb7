"""A file on its way: uploaded, checked, confirmed, written; what fails on the way leaves nothing."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from services.errors import Refusal
from tests.factories import UserFactory
from tests.imports.register import NOW, bring, delivery, furnish, job, part, parts_for, reading
from tests.imports.workbooks import csv_bytes, file_of, with_members, workbook_of
from tracker.actions import imports
from tracker.actions.imports import ImportHasBadRows, apply_batch, check_batch, confirm, upload
from tracker.actions.refusals import FieldInvalid, Invalid, WrongState
from tracker.confined import EmptyFile, FileTooLarge
from tracker.models import Component, ImportBatch, ImportRow, LogEntry, OdometerReading, PartType, Trike
from tracker.queries.imports import batch_page, next_to_work, waiting_batches
from tracker.spreadsheets.limits import MAX_BYTES
from tracker.tasks.imports import work_imports

pytestmark = pytest.mark.django_db


def send(kind: str, content: bytes, **how) -> ImportBatch:
    return upload(kind=kind, file_name="list.csv", content=content, now=NOW, **how)


def checked(kind: str, *rows: dict) -> ImportBatch:
    return check_batch(send(kind, file_of(kind, *rows)).pk, NOW)


def test_an_upload_waits_and_nothing_of_it_is_read():
    batch = send("parts", b"this is no parts file")
    assert (batch.state, batch.rows.count(), len(batch.sha256)) == ("uploaded", 0, 64)


def test_the_name_of_an_uploaded_file_is_kept_without_its_path_and_unseen_signs():
    batch = upload(kind="parts", file_name="C:\\lists\\a\u202eb.csv", content=b"x", now=NOW)
    assert batch.file_name == "ab.csv"


@pytest.mark.parametrize(
    ("change", "refusal", "field"),
    [
        ({"kind": "poems"}, FieldInvalid, "kind"),
        ({"shift_days": 10**6}, FieldInvalid, "shift_days"),
        ({"content": b" "}, EmptyFile, "file"),
        ({"content": b"x" * (MAX_BYTES + 1)}, FileTooLarge, "file"),
    ],
    ids=["kind", "shift", "empty", "too large"],
)
def test_an_upload_that_cannot_be_kept_is_refused(change, refusal, field):
    with pytest.raises(refusal) as refused:
        upload(**({"kind": "parts", "file_name": "x.csv", "content": b"x", "now": NOW} | change))
    assert (refused.value.field, refused.value.status) == (field, "invalid")
    assert not ImportBatch.objects.exists()


def test_a_check_gives_every_row_its_verdict_and_writes_nothing_else():
    batch = checked("parts", part("chain", "C1"), part("chain", "C1"), part("chain", "C2", State="lost"))
    assert batch.state == "checked"
    assert (batch.rows_total, batch.rows_good, batch.rows_skipped, batch.rows_bad) == (3, 1, 1, 1)
    assert list(batch.rows.values_list("number", "verdict")) == [(2, "good"), (3, "skipped"), (4, "bad")]
    assert not Component.objects.exists()


def test_the_check_tells_how_the_file_was_read():
    rows = file_of("parts", part("chain", "C1", Maker="Håkon"), delimiter=";", encoding="cp1252")
    assert check_batch(send("parts", rows).pk, NOW).message == "read as Windows-1252, separated by semicolon"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (csv_bytes(["Serials", "Batch"], [["1", "2"]]), "'Serial' (is 'Serials' meant?)"),
        (csv_bytes(["a"], [["1"]], encoding="utf-16-le"), "NUL"),
        (b"a,b\n" + b"1,2\n" * 20_001, "20,000 rows"),
        (with_members(workbook_of("parts", part("chain", "C1")), {"xl/vbaProject.bin": b"x"}), "macros"),
        (with_members(workbook_of("parts", part("chain", "C1")), {"xl/a.bin": bytes(60 * 1024**2)}), "100 times"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"x" * 600, "password"),
    ],
    ids=["wrong header", "encoding", "too many rows", "macros", "bomb", "encrypted"],
)
def test_a_file_that_cannot_be_read_is_refused_as_a_whole_with_what_to_do(content, words):
    batch = check_batch(send("parts", content).pk, NOW)
    assert batch.state == "refused"
    assert words in batch.message
    assert (batch.rows.count(), PartType.objects.count()) == (0, 0)


def test_a_refused_file_cannot_be_confirmed():
    batch = check_batch(send("parts", b"a,b\n1,2\n").pk, NOW)
    with pytest.raises(WrongState):
        confirm(batch_id=batch.pk, now=NOW)


def test_a_bad_row_blocks_the_whole_file():
    batch = checked("parts", part("chain", "C1"), part("chain", "C2", State="lost"))
    with pytest.raises(ImportHasBadRows) as refusal:
        confirm(batch_id=batch.pk, now=NOW)
    assert (refusal.value.code, refusal.value.status) == ("import-has-bad-rows", "conflict")
    assert "1 of 2 rows" in refusal.value.message


def test_a_file_is_confirmed_once():
    batch = checked("parts", part("chain", "C1"))
    confirm(batch_id=batch.pk, now=NOW)
    with pytest.raises(WrongState):
        confirm(batch_id=batch.pk, now=NOW)


def test_an_import_nobody_knows_is_refused():
    with pytest.raises(Invalid):
        confirm(batch_id=4711, now=NOW)


def test_only_a_confirmed_file_is_written():
    batch = checked("parts", part("chain", "C1"))
    assert apply_batch(batch.pk, NOW).state == "checked"
    assert not Component.objects.exists()


def test_a_confirmed_file_is_written_whole():
    batch = checked("parts", *parts_for(1))
    confirm(batch_id=batch.pk, now=NOW)
    assert apply_batch(batch.pk, NOW).state == "applied"
    batch.refresh_from_db()
    assert (batch.rows_done, batch.finished_at, batch.lease_until) == (6, NOW, None)
    assert Component.objects.count() == 6


def test_a_file_is_written_once_however_often_it_is_asked():
    batch = checked("parts", part("chain", "C1"))
    confirm(batch_id=batch.pk, now=NOW)
    assert [apply_batch(batch.pk, NOW).state for _ in range(2)] == ["applied", "applied"]
    assert Component.objects.count() == 1


def test_who_uploaded_stands_at_what_is_written():
    furnish(1)
    person = UserFactory()
    batch = send("odometer", file_of("odometer", reading(1, "2025-08-01", "480")), by=person)
    check_batch(batch.pk, NOW)
    confirm(batch_id=batch.pk, by=person, now=NOW)
    apply_batch(batch.pk, NOW)
    assert OdometerReading.objects.get(value=480).entered_by == person
    assert LogEntry.objects.get(kind="reading").actor == person


def test_what_became_bad_between_check_and_write_is_refused_and_nothing_is_written():
    batch = checked("parts", part("chain", "C1"), part("chain", "C2"))
    confirm(batch_id=batch.pk, now=NOW)
    bring("parts", part("battery", "C2"))
    assert apply_batch(batch.pk, NOW).state == "failed"
    batch.refresh_from_db()
    assert batch.message.startswith("Nothing was written. Row 3, Serial: Serial C2 is registered as")
    assert list(Component.objects.values_list("serial", flat=True)) == ["C2"]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("crash", "words"), [(RuntimeError("boom"), "fault of the program"), (IntegrityError("boom"), "database refused")]
)
def test_a_crash_in_the_middle_leaves_nothing_and_says_so(monkeypatch, crash, words):
    bring("parts", *parts_for(1))
    batch = checked("deliveries", delivery(1))
    confirm(batch_id=batch.pk, now=NOW)

    def fail(*_):
        raise crash

    monkeypatch.setattr(imports, "chained_logs", fail)
    with pytest.raises(type(crash)):
        apply_batch(batch.pk, NOW)
    batch.refresh_from_db()
    assert batch.state == "failed"
    assert words in batch.message
    assert (Trike.objects.count(), LogEntry.objects.count()) == (0, 0)
    assert set(Component.objects.values_list("state", flat=True)) == {"in_stock"}


def test_a_batch_another_worker_holds_is_left_alone():
    batch = send("parts", file_of("parts", part("chain", "C1")))
    ImportBatch.objects.filter(pk=batch.pk).update(state="checking", lease_until=NOW + timedelta(minutes=1))
    assert check_batch(batch.pk, NOW).state == "checking"
    assert not ImportRow.objects.exists()


@pytest.mark.parametrize(("lost", "after"), [("checking", "checked"), ("applying", "applied")])
def test_a_batch_whose_worker_was_lost_is_taken_over(lost, after):
    batch = send("parts", file_of("parts", part("chain", "C1")))
    ImportBatch.objects.filter(pk=batch.pk).update(state=lost, lease_until=NOW - timedelta(seconds=1))
    assert next_to_work(NOW) == (batch.pk, lost)
    work = check_batch if lost == "checking" else apply_batch
    assert work(batch.pk, NOW).state == after


def test_a_worker_that_lost_its_lease_does_not_write(monkeypatch):
    batch = checked("parts", part("chain", "C1"))
    confirm(batch_id=batch.pk, now=NOW)
    real = imports.open_sheet

    def slow(*args):
        ImportBatch.objects.filter(pk=batch.pk).update(lease_until=NOW + timedelta(hours=1))  # another took over
        return real(*args)

    monkeypatch.setattr(imports, "open_sheet", slow)
    apply_batch(batch.pk, NOW)
    assert not Component.objects.exists()
    assert ImportBatch.objects.get(pk=batch.pk).state == "applying"


def test_the_task_checks_what_waits_and_writes_what_is_confirmed():
    first = send("parts", file_of("parts", part("chain", "C1")))
    second = send("parts", file_of("parts", part("chain", "C2")))
    assert work_imports() == 2
    confirm(batch_id=first.pk, now=NOW)
    assert work_imports() == 1
    assert work_imports() == 0
    assert [ImportBatch.objects.get(pk=batch.pk).state for batch in (first, second)] == ["applied", "checked"]
    assert list(Component.objects.values_list("serial", flat=True)) == ["C1"]


def test_one_batch_that_fails_does_not_stop_the_next(monkeypatch):
    broken = send("parts", file_of("parts", part("chain", "C1")))
    good = send("catalogue", file_of("catalogue", {"Part number": "LF-1", "Kind": "frame", "Name": "Frame"}))

    def fail(*_):
        raise RuntimeError("boom")

    monkeypatch.setitem(imports.EXAMINE, "parts", fail)
    assert work_imports() == 2
    assert [ImportBatch.objects.get(pk=batch.pk).state for batch in (broken, good)] == ["failed", "checked"]


def test_the_task_has_the_name_the_schedule_calls():
    from django.conf import settings

    assert work_imports.name == settings.CELERY_BEAT_SCHEDULE["waiting-imports"]["task"]


def test_the_preview_shows_a_page_of_rows_and_the_counts():
    batch = checked("parts", *(part("chain", f"C{n}") for n in range(60)), part("chain", "X", State="lost"))
    page = batch_page(batch.pk)
    assert (len(page.rows), page.pages, page.counts["good"], page.counts["bad"]) == (50, 2, 60, 1)
    assert page.columns[0] == "Serial"
    assert not page.can_confirm


def test_the_preview_can_show_only_the_bad_rows():
    batch = checked("parts", part("chain", "C1"), part("chain", "X", State="lost"))
    page = batch_page(batch.pk, "bad", page=99)
    assert [(row.number, row.field) for row in page.rows] == [(3, "State")]
    assert (page.page, page.pages) == (1, 1)


def test_the_preview_of_an_import_nobody_knows_is_none():
    assert batch_page(4711) is None


def test_a_clean_file_waits_for_its_confirmation():
    batch = checked("parts", part("chain", "C1"))
    assert [row.pk for row in waiting_batches()] == [batch.pk]
    assert batch_page(batch.pk).can_confirm


def test_every_refusal_of_a_file_can_be_answered_by_the_doors():
    from tracker.spreadsheets import refusals

    kinds = [kind for kind in vars(refusals).values() if isinstance(kind, type) and issubclass(kind, Refusal)]
    assert all(kind.status == "invalid" for kind in kinds if kind is not Refusal)
    assert len({kind.code for kind in kinds}) == len(kinds)


ROWS = {
    "catalogue": lambda n: {"Part number": f"LF-X{n}", "Kind": "frame", "Name": f"Frame {n}"},
    "parts": lambda n: part("chain", f"N{n}"),
    "deliveries": delivery,
    "odometer": lambda n: reading(n, "2025-09-01", "500"),
    "service_book": lambda n: job(
        n,
        Task="general_service",
        Position="chain",
        **{"Old serial": f"C{n}", "New serial": f"S{n}", "Old part fate": "scrapped"},
    ),
}


def statements(kind: str, numbers: range) -> tuple[int, int]:
    """Return how many statements checking and writing rows for these trikes costs."""
    batch = send(kind, file_of(kind, *(ROWS[kind](number) for number in numbers)))
    with CaptureQueriesContext(connection) as check:
        check_batch(batch.pk, NOW)
    confirm(batch_id=batch.pk, now=NOW)
    with CaptureQueriesContext(connection) as write:
        assert apply_batch(batch.pk, NOW).state == "applied"
    return len(check), len(write)


@pytest.mark.parametrize("kind", ROWS)
def test_more_rows_cost_no_more_statements(kind):
    everything = range(1, 29)
    bring("parts", *(row for number in everything for row in parts_for(number)))
    if kind in {"odometer", "service_book"}:
        bring("deliveries", *(delivery(number) for number in everything))
    statements(kind, range(1, 3))  # people and groups are added once
    assert statements(kind, range(3, 5)) == statements(kind, range(5, 27))
