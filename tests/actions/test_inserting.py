"""Rows inserted in one statement: the same rows that bulk_create writes, under the same constraints."""

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from tests.factories import NOW
from tracker.actions.inserting import insert_rows
from tracker.models import ImportBatch, ImportRow

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch():
    return ImportBatch.objects.create(kind="parts", file_name="x.csv", content=b"x", sha256="0" * 64, uploaded_at=NOW)


def row(batch: ImportBatch, number: int, **more) -> dict:
    return {"batch_id": batch.pk, "number": number, "raw": {"Note": "Käse\n😀", "n": 1.5}, "verdict": "good"} | more


def test_what_is_inserted_is_read_back_with_defaults_for_what_was_left_out(batch):
    insert_rows(ImportRow, [row(batch, 2), row(batch, 3, message="100 % %s")])
    told = ImportRow.objects.order_by("number").values_list("number", "raw", "verdict", "code", "message")
    assert list(told) == [
        (2, {"Note": "Käse\n😀", "n": 1.5}, "good", "", ""),
        (3, {"Note": "Käse\n😀", "n": 1.5}, "good", "", "100 % %s"),
    ]


def test_moments_come_back_as_they_went_in():
    told = {"kind": "parts", "file_name": "x", "content": b"\x00\xff", "sha256": "", "uploaded_at": NOW}
    insert_rows(ImportBatch, [told])
    stored = ImportBatch.objects.get()
    assert (stored.uploaded_at, bytes(stored.content), stored.state) == (NOW, b"\x00\xff", "uploaded")


def test_no_rows_are_no_statement():
    with CaptureQueriesContext(connection) as asked:
        insert_rows(ImportRow, [])
    assert len(asked) == 0


def test_a_thousand_rows_are_one_statement(batch):
    with CaptureQueriesContext(connection) as asked:
        insert_rows(ImportRow, (row(batch, number) for number in range(1000)))
    assert (len(asked), ImportRow.objects.count()) == (1, 1000)


@pytest.mark.parametrize(("name", "value"), [("number", 2), ("verdict", None)], ids=["unique", "not null"])
def test_constraints_stand_and_nothing_of_the_rows_stays(batch, name, value):
    with pytest.raises(IntegrityError), transaction.atomic():
        insert_rows(ImportRow, [row(batch, 2), row(batch, 3) | {name: value}])
    assert not ImportRow.objects.exists()
