"""What a mail provider tells about letters."""

import pytest

from tests import factories as make
from tests.api.conftest import faults, machine, problem
from tests.factories import NOW
from tracker.models import OutboxMessage

pytestmark = pytest.mark.django_db


@pytest.fixture
def message() -> OutboxMessage:
    owner = make.OwnerFactory()
    return make.OutboxMessageFactory(trike=None, owner=owner, state="sent", message_id="<a-b@larkfen.example.org>")


@pytest.fixture
def provider():
    return machine("bounces:write")


HARD = {"message_id": "a-b@larkfen.example.org", "kind": "hard", "status": "5.1.1", "note": "No such user"}


def test_a_hard_bounce_stops_the_address(provider, message):
    answer = provider.post("bounces", HARD)
    assert (answer.status_code, answer.json()) == (200, {"message": message.pk, "kind": "hard", "stopped": True})
    message.owner.refresh_from_db()
    assert message.owner.email_dead_at == NOW


def test_the_same_report_counts_once(provider, message):
    soft = {**HARD, "kind": "soft", "status": "4.2.2"}
    assert [provider.post("bounces", soft).json()["stopped"] for _ in range(4)] == [False] * 4


def test_three_reports_of_different_moments_count_each(provider, message):
    reports = [{**HARD, "kind": "soft", "status": "4.2.2", "happened_at": f"2026-05-01T0{n}:00:00Z"} for n in range(3)]
    assert [provider.post("bounces", report).json()["stopped"] for report in reports] == [False, False, True]


def test_a_letter_nobody_knows_is_answered_and_changes_nothing(provider, message):
    answer = provider.post("bounces", {**HARD, "message_id": "<other@example.org>"})
    assert answer.json() == {"message": None, "kind": "hard", "stopped": False}
    assert OutboxMessage.objects.get().bounced_at is None


def test_a_report_of_no_known_kind_or_status_is_refused(provider, message):
    body = problem(provider.post("bounces", {**HARD, "kind": "odd", "status": "now"}), 400, "invalid-body")
    assert set(faults(body)) == {"/kind", "/status"}


def test_a_bounce_is_told_with_the_message(desk, message, provider):
    provider.post("bounces", HARD)
    told = desk.get(f"messages/{message.pk}").json()
    assert told["bounce_note"] == "does not arrive: 5.1.1 No such user"
    assert told["bounced_at"]
