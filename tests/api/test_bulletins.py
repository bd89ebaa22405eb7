"""Bulletins over the API: written by a reviewer, released by a second one, moved by the desk, refused by member."""

import pytest

from tests.api.conftest import faults, machine, person, problem
from tests.bulletins.conftest import on_a_trike
from tests.factories import NOW, AppointmentFactory, ComponentFactory, PartTypeFactory
from tracker.models import Bulletin, BulletinPart

pytestmark = pytest.mark.django_db


@pytest.fixture
def shock():
    return PartTypeFactory(kind="air_shock", part_number="LF-SHOCK")


@pytest.fixture
def reviewer():
    return person("reviewer")


@pytest.fixture
def second():
    return person("reviewer")


def body(shock, **more):
    return {
        "title": "Air shock may leak", "severity": "mandatory", "remedy": "We renew the seal, free of charge.",
        "part_types": [shock.pk], "batches": ["k-17"], **more,
    }  # fmt: skip


HAZARD = {
    "severity": "stop", "is_hazard": True, "hazard": "In rare cases the shock can burst.", "stop_riding": "Stop riding now.",
}  # fmt: skip


def drafted(caller, shock, **more):
    answer = caller.post("bulletins", body(shock, **more))
    assert answer.status_code == 201, answer.content
    return answer.json()


def released(writer, second, shock, **more):
    row = drafted(writer, shock, **more)
    answer = second.post(f"bulletins/{row['id']}/release", {"warnings_read": True}, If_Match='"1"')
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_a_bulletin_goes_its_way_from_draft_to_closed(reviewer, second, shock):
    part = on_a_trike(shock, "S1", batch="K-17")
    ComponentFactory(part_type=shock, serial="S2", batch="")
    row = drafted(reviewer, shock, serials=[{"first": "s1", "last": "s9"}])
    assert (row["number"], row["batches"], row["state"]) == ("B-2026-001", ["K-17"], "draft")
    assert row["serials"] == [{"first": "S1", "last": "S9"}]
    assert reviewer.get(f"bulletins/{row['id']}/matches").json() == {
        "total": 2, "affected": 1, "cannot_exclude": 1, "fitted": 1, "in_stock": 1, "elsewhere": 0, "trikes": 1,
        "owners": 1, "contactable": 1,
    }  # fmt: skip
    changed = reviewer.patch(f"bulletins/{row['id']}", {"minutes": 45}, If_Match='"1"').json()
    assert (changed["minutes"], changed["batches"], changed["version"]) == (45, ["K-17"], 2)
    done = second.post(f"bulletins/{row['id']}/release", {}, If_Match='"2"').json()
    assert (done["state"], done["released_by"]) == ("released", second.user.pk)
    parts = reviewer.get("bulletin-parts", bulletin=row["id"]).json()["results"]
    told = {one["serial"]: (one["certainty"], one["state"], one["position"]) for one in parts}
    assert told == {"S1": ("affected", "affected", "rear-shock"), "S2": ("cannot_exclude", "affected", None)}
    stay = part.fitments.get()
    [one] = reviewer.get("bulletin-parts", trike=stay.trike_id).json()["results"]
    assert (one["trike"], one["frame_serial"]) == (stay.trike_id, stay.trike.frame_serial)
    moved = person("mechanic").post(f"bulletin-parts/{one['id']}/move", {"state": "corrected"}, If_Match='"1"').json()
    assert (moved["state"], moved["version"]) == ("corrected", 2)
    progress = reviewer.get(f"bulletins/{row['id']}/progress").json()
    assert (progress["affected"], progress["completion"]) == (2, 0.5)
    ended = reviewer.post(
        f"bulletins/{row['id']}/end", {"how": "closed", "why": "Stock returned."}, If_Match='"3"'
    ).json()
    assert (ended["state"], ended["ended_why"]) == ("closed", "Stock returned.")
    assert [one["number"] for one in reviewer.get("bulletins", state="closed", part_type=shock.pk).json()["results"]] == [
        "B-2026-001"
    ]  # fmt: skip


def test_who_wrote_it_does_not_release_it(reviewer, shock):
    row = drafted(reviewer, shock)
    problem(reviewer.post(f"bulletins/{row['id']}/release", {}, If_Match='"1"'), 409, "same-signer")


def test_softening_words_come_as_warnings_and_must_be_read(reviewer, second, shock):
    row = drafted(reviewer, shock, **HAZARD)
    assert any("rare" in warning for warning in row["warnings"])
    answer = second.post(f"bulletins/{row['id']}/release", {}, If_Match='"1"')
    assert "/warnings_read" in faults(problem(answer, 409, "warnings-not-read"))
    answer = second.post(f"bulletins/{row['id']}/release", {"warnings_read": True}, If_Match='"1"')
    assert (answer.json()["state"], answer.json()["warnings"]) == ("released", [])


def test_a_release_sent_twice_with_its_key_counts_once_and_a_stale_one_not(reviewer, second, shock):
    row = drafted(reviewer, shock)
    path = f"bulletins/{row['id']}/release"
    answers = [second.post(path, {}, If_Match='"1"', Idempotency_Key="r-1") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert answers[0].content == answers[1].content
    problem(second.post(path, {}, If_Match='"1"'), 412, "precondition-failed")
    problem(second.post(path, {}), 428, "precondition-required")


@pytest.mark.parametrize(
    ("change", "status", "code", "at"),
    [
        ({"title": ""}, 400, "invalid-body", "/title"),
        ({"title": None}, 400, "invalid-body", "/title"),
        ({"severity": "urgent"}, 422, "invalid-values", "/severity"),
        ({"severity": "stop"}, 422, "field-invalid", "/is_hazard"),
        ({"is_hazard": True}, 422, "not-enough", "/hazard"),
        ({"remedy": ""}, 422, "not-enough", "/remedy"),
        ({"part_types": []}, 400, "invalid-body", "/part_types"),
        ({"part_types": [987654]}, 422, "invalid", "/part_types"),
        ({"serials": [{"first": "B2", "last": "B1"}]}, 422, "bad-scope", "/serials"),
        ({"serials": [{"first": "B2"}]}, 400, "invalid-body", "/serials/0/last"),
        ({"serials": [{"first": "B\u200b1", "last": "B2"}]}, 400, "bad-serial", "/serials"),
        ({"batches": ["x" * 41]}, 400, "invalid-body", "/batches/0"),
        ({"made_from": "2026-02-01", "made_until": "2026-01-01"}, 422, "bad-scope", "/made_from"),
        ({"made_from": "2026-02-30"}, 400, "invalid-body", "/made_from"),
        ({"deadline_on": "2020-01-01"}, 422, "field-invalid", "/deadline_on"),
        ({"deadline_km": float("nan")}, 422, "invalid-values", "/deadline_km"),
        ({"deadline_km": -5}, 422, "invalid-values", "/deadline_km"),
        ({"minutes": 1.5}, 422, "invalid-values", "/minutes"),
        ({"state": "released"}, 400, "invalid-body", "/state"),
        ({"hazard": "a\x00b"}, 400, "bad-text", ""),
    ],
)
def test_refusals_point_at_the_member(reviewer, shock, change, status, code, at):
    answer = reviewer.post("bulletins", body(shock, **change))
    told = problem(answer, status, code)
    if at:
        assert at in faults(told)
    assert not Bulletin.objects.exists()


def test_a_step_that_cannot_be_is_refused_and_changes_nothing(reviewer, second, shock):
    ComponentFactory(part_type=shock, serial="S1", batch="K-17")
    released(reviewer, second, shock)
    part = BulletinPart.objects.get()
    desk = person("desk")
    path = f"bulletin-parts/{part.pk}/move"
    assert desk.post(path, {"state": "scrapped"}, If_Match='"1"').status_code == 200
    assert "/state" in faults(problem(desk.post(path, {"state": "booked"}, If_Match='"2"'), 422, "bad-bulletin-step"))
    problem(desk.post(path, {"state": "lost"}, If_Match='"2"'), 422, "invalid-values")
    problem(desk.post(path, {"state": "affected", "at": "2026-05-02T10:00:00"}, If_Match='"2"'), 400, "invalid-body")
    part.refresh_from_db()
    assert part.state == "scrapped"


def test_a_part_joins_an_appointment_of_its_own_trike_only(reviewer, second, shock):
    piece = on_a_trike(shock, "S1", batch="K-17")
    released(reviewer, second, shock)
    part, trike, desk = BulletinPart.objects.get(), piece.fitments.get().trike, person("desk")
    other = AppointmentFactory()
    answer = desk.post(f"bulletin-parts/{part.pk}/book", {"appointment": other.pk}, If_Match='"1"')
    assert "/appointment" in faults(problem(answer, 422, "invalid"))
    mine = AppointmentFactory(trike=trike, owner=trike.ownerships.get().owner, visit=None)
    answer = desk.post(f"bulletin-parts/{part.pk}/book", {"appointment": mine.pk}, If_Match='"1"').json()
    assert (answer["state"], answer["appointment"]) == ("booked", mine.pk)


def test_the_desk_reads_bulletins_and_another_system_moves_nothing(reviewer, second, shock):
    ComponentFactory(part_type=shock, serial="S1", batch="K-17")
    row = released(reviewer, second, shock)
    part = BulletinPart.objects.get()
    assert person("desk").get(f"bulletins/{row['id']}").status_code == 200
    problem(person("desk").post("bulletins", body(shock)), 403, "not-allowed")
    key = machine("read", "jobs:write", "fleet:write", role="admin")
    assert key.get("bulletin-parts").json()["results"][0]["serial"] == "S1"
    problem(key.post(f"bulletin-parts/{part.pk}/move", {"state": "notified"}, If_Match='"1"'), 403, "not-allowed")


def test_lists_stay_flat(reviewer, second, shock, assert_flat_queries):
    on_a_trike(shock, "S1", batch="K-17")
    released(reviewer, second, shock)

    def grow():
        for number in range(5):
            on_a_trike(shock, f"G{number}", batch="K-17")
        released(reviewer, second, shock)

    reviewer.get("bulletin-parts")
    assert_flat_queries(lambda: (reviewer.get("bulletins"), reviewer.get("bulletin-parts")), grow=grow)
    assert BulletinPart.objects.first().joined_at == NOW
