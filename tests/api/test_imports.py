"""Files over the API: uploaded, read by a worker, looked at row by row, confirmed."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests import factories as make
from tests.api.conftest import faults, machine, problem
from tracker.models import ImportBatch

pytestmark = pytest.mark.django_db
CSV = b"Date,Trike,Reading,Unit,Source,Note\n"


def upload(caller, content=CSV, kind="odometer", name="odometer.csv", **headers):
    named = {key.replace("_", "-"): value for key, value in headers.items()}
    body = {"kind": kind, "file": SimpleUploadedFile(name, content)}
    return caller.client.post("/api/v1/imports", body, headers={**caller.headers, **named})


def test_a_file_is_kept_for_a_worker_and_nothing_of_it_read(desk):
    made = upload(desk)
    assert made.status_code == 201, made.content
    assert made.json()["state"] == "uploaded"
    assert made.json()["uploaded_by"] == desk.user.pk
    assert "content" not in made.json()
    assert bytes(ImportBatch.objects.get().content) == CSV


def test_the_same_file_under_the_same_key_is_kept_once(desk):
    first, again = upload(desk, Idempotency_Key="k"), upload(desk, Idempotency_Key="k")
    assert again.content == first.content
    problem(upload(desk, CSV + b"x", Idempotency_Key="k"), 422, "key-reused")
    assert ImportBatch.objects.count() == 1


def test_a_key_with_the_scope_may_upload(db):
    assert upload(machine("imports:write")).status_code == 201
    problem(upload(machine("read")), 403, "not-allowed")


def test_a_file_over_five_megabytes_is_a_413(desk):
    problem(upload(desk, b"x" * (5 * 1024 * 1024 + 100_000)), 413, "too-large")
    assert not ImportBatch.objects.exists()


def test_a_file_is_not_sent_as_json(desk):
    problem(desk.post("imports", {"kind": "odometer", "file": "x"}), 415, "unsupported-media-type")


@pytest.mark.parametrize(
    ("body", "code", "status", "where"),
    [
        ({"kind": "odometer"}, "invalid-body", 400, {"/file": "required"}),
        (
            {"kind": "recipes", "file": SimpleUploadedFile("a.csv", CSV)},
            "invalid-values",
            422,
            {"/kind": "not-in-list"},
        ),
        ({"kind": "odometer", "file": "text"}, "invalid-body", 400, {"/file": "wrong-type"}),
    ],
)
def test_an_upload_of_the_wrong_form_is_told(desk, body, code, status, where):
    assert faults(problem(desk.client.post("/api/v1/imports", body), status, code)) == where


def test_an_empty_file_is_refused(desk):
    response = upload(desk, b"")
    assert response.status_code == 422
    assert not ImportBatch.objects.exists()


def test_rows_are_told_with_their_verdict_and_narrowed_by_it(desk, assert_flat_queries):
    batch = make.ImportBatchFactory(state="checked")
    make.ImportRowFactory(batch=batch, number=2, raw={"Reading": "12"})
    bad = make.ImportRowFactory(
        batch=batch, number=3, verdict="bad", code="no-such-trike", message="There is no such trike."
    )
    rows = desk.get(f"imports/{batch.pk}/rows").json()["results"]
    assert [row["number"] for row in rows] == [2, 3]
    assert rows[0]["raw"] == {"Reading": "12"}
    narrowed = desk.get(f"imports/{batch.pk}/rows", verdict="bad").json()["results"]
    assert [row["code"] for row in narrowed] == [bad.code]
    problem(desk.get(f"imports/{batch.pk}/rows", state="checked"), 400, "bad-query")
    assert_flat_queries(
        lambda: desk.get(f"imports/{batch.pk}/rows"), lambda: make.ImportRowFactory.create_batch(20, batch=batch)
    )


def test_only_a_checked_file_without_bad_rows_is_confirmed(desk):
    good, bad, new = (
        make.ImportBatchFactory(state=state, rows_bad=n)
        for state, n in (("checked", 0), ("checked", 1), ("uploaded", 0))
    )
    assert desk.post(f"imports/{good.pk}/confirm").json()["state"] == "confirmed"
    problem(desk.post(f"imports/{bad.pk}/confirm"), 409, "import-has-bad-rows")
    problem(desk.post(f"imports/{new.pk}/confirm"), 409, "wrong-state")


def test_a_failed_file_is_tried_again_while_it_is_kept(desk):
    batch = make.ImportBatchFactory(state="failed", message="Nothing was written.")
    answer = desk.post(f"imports/{batch.pk}/try-again")
    assert (answer.status_code, answer.json()["state"], answer.json()["message"]) == (200, "uploaded", "")


def test_a_file_that_is_gone_or_did_not_fail_is_not_tried_again(desk):
    gone, checked = make.ImportBatchFactory(state="failed", content=b""), make.ImportBatchFactory(state="checked")
    problem(desk.post(f"imports/{gone.pk}/try-again"), 409, "file-not-kept")
    problem(desk.post(f"imports/{checked.pk}/try-again"), 409, "wrong-state")
