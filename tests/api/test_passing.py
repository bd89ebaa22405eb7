"""Another owner, stolen, found again, retired over the API: what they answer, once per key, under If-Match."""

import pytest

from tests import factories as make
from tests.api.conftest import faults, machine, part_at, problem
from tracker.models import LogEntry, OdometerReading, Ownership, Trike

pytestmark = pytest.mark.django_db
THEFT = {"on": "2026-04-29", "note": "report 4711"}


@pytest.fixture
def buyer():
    return make.OwnerFactory(reminders_agreed=False)


def everything(trike: Trike, fate: str = "scrapped") -> list[dict]:
    return [{"component": f.component_id, "fate": fate} for f in trike.fitments.current()]


def test_a_trike_passes_on_with_reading_and_consent(desk, trike, buyer):
    body = {"owner": buyer.pk, "since": "2026-04-30", "reading": 310.5, "reminders_agreed": True,
            "agreed_source": "telephone"}  # fmt: skip
    answer = desk.post(f"trikes/{trike.pk}/pass-on", body)
    assert answer.status_code == 200
    assert (answer.json()["owner"], answer["ETag"]) == (buyer.pk, '"2"')
    buyer.refresh_from_db()
    assert (buyer.reminders_agreed, buyer.agreed_source) == (True, "telephone")
    assert OdometerReading.objects.get().km == 310.5


def test_a_reading_that_is_unlikely_is_asked_about_where_a_person_asks_for_it(desk, trike, buyer):
    make.OdometerReadingFactory(trike=trike, value=2000)
    body = {"owner": buyer.pk, "since": "2026-05-01", "reading": 3500, "confirm": False}
    answer = problem(desk.post(f"trikes/{trike.pk}/pass-on", body), 409, "please-confirm")
    assert faults(answer) == {"/reading": "please-confirm"}
    assert desk.post(f"trikes/{trike.pk}/pass-on", {**body, "confirm": True}).status_code == 200


def test_refusals_point_at_the_member(desk, trike, buyer):
    owner = Ownership.objects.get().owner
    wanted = [
        ({"owner": owner.pk, "since": "2026-04-30"}, 409, "same-owner", "/owner"),
        ({"owner": 987654, "since": "2026-04-30"}, 422, "invalid", "/owner"),
        ({"owner": buyer.pk, "since": "2026-05-30"}, 422, "field-invalid", "/since"),
        ({"owner": buyer.pk, "since": "2026-04-30", "reminders_agreed": True}, 422, "not-enough", "/agreed_source"),
        ({"owner": buyer.pk, "since": "2026-04-30", "reading": -1}, 422, "invalid-values", "/reading"),
    ]
    for body, status, code, pointer in wanted:
        assert list(faults(problem(desk.post(f"trikes/{trike.pk}/pass-on", body), status, code))) == [pointer]
    assert Ownership.objects.count() == 1


def test_the_same_key_passes_it_on_once_also_under_if_match(desk, trike, buyer):
    body = {"owner": buyer.pk, "since": "2026-04-30"}
    sent = {"Idempotency_Key": "k-1", "If_Match": '"1"'}
    first = desk.post(f"trikes/{trike.pk}/pass-on", body, **sent)
    again = desk.post(f"trikes/{trike.pk}/pass-on", body, **sent)
    assert (first.status_code, again.status_code, again.content) == (200, 200, first.content)
    assert Ownership.objects.count() == 2


def test_a_stale_entity_tag_is_refused(desk, trike):
    problem(desk.post(f"trikes/{trike.pk}/report-stolen", THEFT, If_Match='"7"'), 412, "precondition-failed")


def test_a_trike_is_stolen_once_and_found_again(desk, trike):
    answer = desk.post(f"trikes/{trike.pk}/report-stolen", THEFT).json()
    assert (answer["stolen_on"], answer["stolen_note"]) == ("2026-04-29", "report 4711")
    problem(desk.post(f"trikes/{trike.pk}/report-stolen", THEFT), 409, "wrong-state")
    assert desk.post(f"trikes/{trike.pk}/found-again", {"on": "2026-04-30"}).json()["stolen_on"] is None
    problem(desk.post(f"trikes/{trike.pk}/found-again", {"on": "2026-04-30"}), 409, "wrong-state")


def test_a_trike_is_retired_with_a_fate_for_every_part(desk, trike):
    chain = part_at(trike, "chain")
    short = {"reason": "frame cracked", "parts": everything(trike)[:-1]}
    assert faults(problem(desk.post(f"trikes/{trike.pk}/retire", short), 422, "not-enough")) == {"/parts": "not-enough"}
    answer = desk.post(f"trikes/{trike.pk}/retire", {**short, "parts": everything(trike)})
    assert answer.status_code == 200
    told = answer.json()
    assert (told["state"], told["retired_on"], told["retired_reason"]) == ("retired", "2026-05-01", "frame cracked")
    chain.refresh_from_db()
    assert chain.state == "scrapped"
    assert desk.get(f"trikes/{trike.pk}/components").json() == []


def test_a_fate_that_is_none_is_refused_by_pointer(desk, trike):
    body = {"reason": "x", "parts": [{"component": 1, "fate": "sold"}]}
    answer = problem(desk.post(f"trikes/{trike.pk}/retire", body), 422, "invalid-values")
    assert faults(answer) == {"/parts/0/fate": "not-in-list"}


def test_another_system_may_report_a_theft_but_passes_nothing_on_without_the_scope(trike, buyer):
    till = machine("fleet:write", "read")
    assert till.post(f"trikes/{trike.pk}/report-stolen", THEFT).status_code == 200
    assert (LogEntry.objects.get().source, LogEntry.objects.get().actor) == ("api", None)
    body = {"owner": buyer.pk, "since": "2026-04-30"}
    problem(till.post(f"trikes/{trike.pk}/pass-on", body), 403, "not-allowed")


def test_a_frame_is_not_removed_like_any_part(desk, trike):
    frame = trike.fitments.current().get(position="frame")
    answer = desk.post(f"fitments/{frame.pk}/remove", {"removed_at": "2026-05-01T09:00:00Z"})
    problem(answer, 409, "wrong-state")
