"""Closing days over the API: listed, entered once, refused by member, removed."""

import pytest

from tests import factories as make
from tests.api.conftest import faults, machine, problem
from tracker.models import Closing

pytestmark = pytest.mark.django_db
HOLIDAY = {"first": "2026-08-03", "last": "2026-08-14", "reason": "summer"}


def test_closings_are_listed_soonest_first_with_how_many_owners_expect_us(desk):
    make.ClosingFactory()
    soon = make.ClosingFactory(first="2026-05-12", last="2026-05-13")
    make.AppointmentFactory(state="confirmed")  # on 12 May
    rows = desk.get("closings").json()["results"]
    assert [(row["first"], row["last"], row["expected"]) for row in rows] == [
        ("2026-05-12", "2026-05-13", 1), ("2026-12-24", "2026-12-31", 0),
    ]  # fmt: skip
    assert [row["id"] for row in desk.get("closings", first_before="2026-06-01").json()["results"]] == [soon.pk]


def test_a_holiday_is_entered_once_per_key(desk):
    answers = [desk.post("closings", HOLIDAY, Idempotency_Key="h-1") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    row = Closing.objects.get()
    assert (row.entered_by, row.reason) == (desk.user, "summer")
    assert answers[1].json()["id"] == row.pk


@pytest.mark.parametrize(
    ("body", "status", "code", "at"),
    [
        ({}, 400, "invalid-body", "/first"), ({"first": 7}, 400, "invalid-body", "/first"),
        ({"first": "2026-02-30"}, 400, "invalid-body", "/first"), ({"first": None}, 400, "invalid-body", "/first"),
        ({**HOLIDAY, "until": 1}, 400, "invalid-body", "/until"),
        ({**HOLIDAY, "reason": "x" * 121}, 400, "invalid-body", "/reason"),
        ({"first": "2026-08-03", "last": "2026-08-02"}, 422, "field-invalid", "/last"),
        ({"first": "2026-04-03"}, 422, "field-invalid", "/first"),
    ],
)  # fmt: skip
def test_refusals_point_at_the_member(desk, body, status, code, at):
    assert list(faults(problem(desk.post("closings", body), status, code))) == [at]
    assert not Closing.objects.exists()


def test_days_closed_already_are_a_conflict(desk):
    desk.post("closings", HOLIDAY)
    assert list(faults(problem(desk.post("closings", HOLIDAY), 409, "already-closed"))) == ["/first"]


def test_a_closing_is_removed_and_told_as_it_was(desk):
    row = make.ClosingFactory()
    assert desk.delete(f"closings/{row.pk}").json()["reason"] == "between the years"
    problem(desk.delete(f"closings/{row.pk}"), 404, "not-found")
    past = make.ClosingFactory(first="2026-04-01", last="2026-04-02")
    problem(desk.delete(f"closings/{past.pk}"), 409, "wrong-state")


def test_another_system_reads_with_read_and_closes_with_the_scope_for_jobs():
    problem(machine("read").post("closings", HOLIDAY), 403, "not-allowed")
    made = machine("read", "jobs:write").post("closings", HOLIDAY)
    assert made.status_code == 201
    assert machine("read").get(f"closings/{made.json()['id']}").json()["entered_by"] is None
