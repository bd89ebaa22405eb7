"""A failed import is tried again without uploading again, as long as its file is kept."""

from datetime import timedelta

import pytest

from tests.factories import ImportBatchFactory
from tests.imports.register import NOW, bring, part
from tests.imports.workbooks import file_of
from tracker.actions import imports
from tracker.actions.import_files import KEPT_FOR, FileNotKept, forget_files, try_again
from tracker.actions.imports import apply_batch, check_batch, confirm, upload
from tracker.actions.refusals import Invalid, WrongState
from tracker.models import Component, ImportBatch
from tracker.queries.imports import can_try_again
from tracker.tasks.imports import forget_import_files

pytestmark = pytest.mark.django_db


@pytest.fixture
def failed() -> ImportBatch:
    """Confirmed, and failed as the record changed in between: C2 was registered as a battery."""
    content = file_of("parts", part("chain", "C1"), part("chain", "C2"))
    batch = upload(kind="parts", file_name="parts.csv", content=content, now=NOW)
    check_batch(batch.pk, NOW)
    confirm(batch_id=batch.pk, now=NOW)
    bring("parts", part("battery", "C2"))
    assert apply_batch(batch.pk, NOW).state == "failed"
    return batch


def test_a_failed_file_is_checked_anew_confirmed_anew_and_written(failed):
    Component.objects.all().delete()  # what was in the way is gone
    assert try_again(batch_id=failed.pk, now=NOW).state == "uploaded"
    assert check_batch(failed.pk, NOW).state == "checked"
    confirm(batch_id=failed.pk, now=NOW)
    assert apply_batch(failed.pk, NOW).state == "applied"
    assert set(Component.objects.values_list("serial", flat=True)) == {"C1", "C2"}


def test_what_still_does_not_fit_is_told_row_by_row(failed):
    try_again(batch_id=failed.pk, now=NOW)
    assert check_batch(failed.pk, NOW).rows_bad == 1
    with pytest.raises(imports.ImportHasBadRows):
        confirm(batch_id=failed.pk, now=NOW)


def test_nothing_of_the_first_try_is_left_on_a_file_tried_again(failed):
    batch = try_again(batch_id=failed.pk, now=NOW)
    assert (batch.message, batch.finished_at, batch.rows_total, batch.rows.count()) == ("", None, 0, 0)


def test_a_check_that_crashed_is_tried_again(monkeypatch):
    batch = upload(kind="parts", file_name="p.csv", content=file_of("parts", part("chain", "C1")), now=NOW)
    with monkeypatch.context() as broken:
        broken.setitem(imports.EXAMINE, "parts", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            check_batch(batch.pk, NOW)
    try_again(batch_id=batch.pk, now=NOW)
    assert check_batch(batch.pk, NOW).state == "checked"


@pytest.mark.parametrize("state", sorted(set(ImportBatch.State.values) - {"failed"}))
def test_only_a_failed_file_is_tried_again(state):
    batch = ImportBatchFactory(state=state)
    with pytest.raises(WrongState):
        try_again(batch_id=batch.pk, now=NOW)
    assert not can_try_again(batch)


def test_a_file_nobody_knows_is_not_tried_again():
    with pytest.raises(Invalid):
        try_again(batch_id=4711, now=NOW)


def test_a_file_whose_time_is_over_is_removed_and_must_be_uploaded_again(failed):
    failed.refresh_from_db()
    assert can_try_again(failed)
    assert forget_files(now=NOW + KEPT_FOR + timedelta(seconds=1)) == 2  # and the file of what was in the way
    assert not can_try_again(failed)
    with pytest.raises(FileNotKept) as refusal:
        try_again(batch_id=failed.pk, now=NOW)
    assert refusal.value.remedy == "Upload the file again."
    assert failed.rows.count() == 2


def test_a_file_within_its_time_or_not_done_with_is_kept():
    ImportBatchFactory(state="failed", finished_at=NOW)
    for state in ("uploaded", "checking", "checked", "confirmed", "applying"):
        ImportBatchFactory(state=state)
    assert forget_files(now=NOW + KEPT_FOR) == 0


def test_a_removed_file_is_removed_once():
    ImportBatchFactory(state="applied", finished_at=NOW)
    later = NOW + 2 * KEPT_FOR
    assert [forget_files(now=later), forget_files(now=later)] == [1, 0]


def test_the_schedule_calls_the_removal_by_its_name(settings):
    assert forget_import_files.name == settings.CELERY_BEAT_SCHEDULE["old-import-files"]["task"]
    assert forget_import_files() == 0
