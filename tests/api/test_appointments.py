"""Days that owners asked for over the API: listed, confirmed, declined with words, another one offered."""

import pytest

from tests import factories as make
from tests.api.conftest import faults, machine, problem
from tracker.models import Appointment, OutboxMessage

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked() -> Appointment:
    """Tuesday 12 May 2026."""
    return make.AppointmentFactory(visit=make.VisitFactory(), note="The left brake squeals.")


def decide(caller, row: Appointment, **body):
    return caller.post(f"appointments/{row.pk}/decide", body)


def test_what_waits_for_the_desk_is_listed(desk, asked):
    make.AppointmentFactory(state="withdrawn")
    rows = desk.get("appointments", state="asked").json()["results"]
    assert [(row["id"], row["on"], row["note"]) for row in rows] == [
        (asked.pk, "2026-05-12", "The left brake squeals.")
    ]


def test_a_day_is_confirmed_and_its_owner_told(desk, asked):
    assert decide(desk, asked, choice="confirm").json()["state"] == "confirmed"
    assert OutboxMessage.objects.get().kind == "appointment"


def test_another_day_is_offered(desk, asked):
    answer = decide(desk, asked, choice="offer", on="2026-05-14", answer="Mika is away.").json()
    assert (answer["state"], answer["on"]) == ("declined", "2026-05-14")
    assert answer["answer"].startswith("Could you come on Thursday 14 May 2026 instead of Tuesday 12 May 2026?")


def test_refusals_point_at_the_member(desk, asked):
    closed = {"choice": "offer", "on": "2026-05-16"}  # a Saturday
    assert list(faults(problem(decide(desk, asked, **closed), 409, "day-taken"))) == ["/on"]
    assert list(faults(problem(decide(desk, asked, choice="decline"), 422, "not-enough"))) == ["/answer"]
    assert list(faults(problem(decide(desk, asked, choice="maybe"), 422, "invalid-values"))) == ["/choice"]


def test_what_is_decided_is_decided(desk, asked):
    decide(desk, asked, choice="decline", answer="We are at a fair.")
    problem(decide(desk, asked, choice="confirm"), 409, "wrong-state")


def test_another_system_needs_the_scope_for_owners(asked):
    problem(decide(machine("read", "owners:read"), asked, choice="confirm"), 403, "not-allowed")
    assert decide(machine("owners:read", "owners:write"), asked, choice="confirm").status_code == 200
