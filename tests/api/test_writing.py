"""Writing over the API: each resource's own steps, what they answer and what stands in the record afterwards."""

import pytest

from tests import factories as make
from tests.api.conftest import faults, machine, part_at, person, problem
from tracker.models import Completion, Component, Fitment, LogEntry, OdometerReading, Owner, Trike
from tracker.queries.due import rebuild_differences

pytestmark = pytest.mark.django_db
AT = "2026-05-01T09:00:00Z"


def test_a_part_type_is_added_read_and_changed_under_its_entity_tag(reviewer):
    body = {"kind": "battery", "part_number": "b-504", "name": "Pack", "rated": {"rated_wh": 504, "nominal_v": 36}}
    made = reviewer.post("part-types", body)
    assert made.status_code == 201
    assert made.json()["part_number"] == "B-504"
    address = made["Location"].removeprefix("/api/v1/")
    assert reviewer.get(address)["ETag"] == made["ETag"] == '"1"'
    changed = reviewer.patch(address, {"name": "Pack, large"}, If_Match='"1"')
    assert changed.status_code == 200
    assert changed["ETag"] == '"2"'
    assert changed.json()["name"] == "Pack, large"
    assert changed.json()["rated"]["rated_wh"] == 504
    problem(reviewer.post("part-types", body), 409, "serial-already-known")


def test_a_trike_is_built_handed_over_and_signed_by_two_people(desk, mechanic):
    part_type = make.PartTypeFactory(kind="frame")
    frame = desk.post("components", {"part_type": part_type.pk, "serial": "f 900"}).json()
    trike = desk.post("trikes", {"frame": frame["id"], "plate": "lt-900", "model": "Fenrunner"})
    assert trike.status_code == 201
    assert trike.json()["frame_serial"] == "F 900"
    owner = desk.post("owners", {"name": "Ada Rider", "email": "ada@example.org"}).json()
    body = {"trike": trike.json()["id"], "owner": owner["id"], "handed_over_on": "2026-04-30", "reading_km": 4.5,
            "rider_mass_kg": 71, "checks": [{"item": "brakes hold", "passed": True}]}  # fmt: skip
    handover = desk.post("handovers", body)
    assert handover.status_code == 201
    assert handover.json()["checks"] == [{"item": "brakes hold", "passed": True, "note": ""}]
    address = f"handovers/{handover.json()['id']}"
    problem(desk.post(f"{address}/sign"), 409, "same-signer")
    signed = mechanic.post(f"{address}/sign")
    assert signed.status_code == 200
    assert signed.json()["second_by"] == mechanic.user.pk
    shown = desk.get(f"trikes/{trike.json()['id']}").json()
    assert (shown["state"], shown["delivered_on"], shown["owner"]) == ("delivered", "2026-04-30", owner["id"])
    assert [row["position"] for row in desk.get(f"trikes/{shown['id']}/components").json()] == ["frame"]
    assert desk.get(f"trikes/{shown['id']}/logbook").json()["results"]


def test_a_component_is_fitted_and_removed_and_its_life_told(desk, trike):
    spare = make.ComponentFactory(part_type__kind="chain")
    old = trike.fitments.get(position="chain")
    removed = desk.post(f"fitments/{old.pk}/remove", {"removed_at": "2026-05-01T08:00:00Z", "fate": "scrapped"})
    assert removed.status_code == 200
    assert removed.json()["fate"] == "scrapped"
    fitted = desk.post("fitments", {"trike": trike.pk, "position": "chain", "component": spare.pk, "fitted_at": AT})
    assert fitted.status_code == 201
    assert part_at(trike, "chain") == spare
    life = desk.get(f"components/{spare.pk}/life").json()
    assert life["is_unknown"] is False
    assert life["km"] == pytest.approx(0.2, abs=0.3)
    assert desk.get(f"components/{old.component_id}/life").json()["days_fitted"] == pytest.approx(364.9, abs=0.1)


def test_a_component_changes_under_its_entity_tag_only(desk):
    part = make.ComponentFactory()
    changed = desk.patch(f"components/{part.pk}", {"firmware": "2.1", "made_on": None}, If_Match='"1"')
    assert changed.json()["firmware"] == "2.1"
    assert changed.json()["made_on"] is None
    problem(desk.patch(f"components/{part.pk}", {"firmware": "2.2"}, If_Match='"1"'), 412, "precondition-failed")


def test_an_owner_is_changed_and_consent_is_kept_with_its_time(desk):
    owner = make.OwnerFactory(reminders_agreed=False, agreed_at=None)
    body = {"reminders_agreed": True, "agreed_source": "phone", "distance_unit": "mi"}
    changed = desk.patch(f"owners/{owner.pk}", body, If_Match='"1"').json()
    assert changed["agreed_at"] == "2026-05-01T10:00:00Z"
    assert (changed["agreed_source"], changed["distance_unit"]) == ("phone", "mi")


def test_a_reading_over_a_key_is_kept_as_told_by_another_system(trike):
    made = machine("readings:write").post("readings", {"trike": trike.pk, "value": 100.5, "unit": "mi", "read_at": AT})
    assert made.status_code == 201
    assert made.json()["source"] == "api"
    assert made.json()["entered_by"] is None
    assert made.json()["km"] == pytest.approx(161.739, abs=0.001)


def test_a_suspect_reading_is_decided_once(desk, trike):
    make.OdometerReadingFactory(trike=trike, value=2000)
    suspect = desk.post("readings", {"trike": trike.pk, "value": 1250, "read_at": AT}).json()
    assert suspect["verdict"] == "suspect"
    problem(desk.post(f"readings/{suspect['id']}/decide", {"choice": "guess"}), 422, "field-invalid")
    decided = desk.post(f"readings/{suspect['id']}/decide", {"choice": "reject"})
    assert decided.json()["verdict"] == "rejected"
    assert decided.json()["decided_by"] == desk.user.pk
    problem(desk.post(f"readings/{suspect['id']}/decide", {"choice": "accept"}), 409, "wrong-state")


def test_display_changes_meters_and_occurrences_are_recorded(desk, trike):
    change = {"trike": trike.pk, "changed_at": AT, "old_final_km": None, "reason": "flooded"}
    assert desk.post("display-changes", change).json()["new_start_km"] == 0.0
    battery = part_at(trike, "battery")
    meter = {"component": battery.pk, "meter": "charge_cycles", "value": 40.5, "read_at": AT}
    assert desk.post("meter-readings", meter).json()["value"] == 40.5
    problem(
        desk.post("meter-readings", {**meter, "value": 39, "read_at": "2026-05-01T09:30:00Z"}), 422, "field-invalid"
    )
    happened = desk.post("occurrences", {"trike": trike.pk, "kind": "crash", "happened_at": AT})
    assert happened.status_code == 201
    lines = desk.get(f"trikes/{trike.pk}/due-lines").json()["results"]
    assert "after_crash" in {line["task"] for line in lines}
    assert "crash" in next(line["reason"] for line in lines if line["task"] == "after_crash")


def test_an_interval_is_added_and_changed_by_a_reviewer(reviewer, desk):
    body = {"task": "chain_check", "part_kind": "chain", "every_km": 1500, "early_km": 150}
    made = reviewer.post("intervals", body)
    assert made.status_code == 201
    address = f"intervals/{made.json()['id']}"
    changed = reviewer.patch(address, {"every_km": 1200}, If_Match=made["ETag"])
    assert (changed.json()["every_km"], changed["ETag"]) == (1200, '"2"')
    problem(desk.patch(address, {"every_km": 1}, If_Match='"2"'), 403, "not-allowed")
    problem(reviewer.post("intervals", body), 409, "clash")
    assert faults(problem(reviewer.post("intervals", {**body, "every_km": -1}), 422, "invalid-values")) == {
        "/every_km": "out-of-range"
    }


def open_card(caller, trike):
    response = caller.post("job-cards", {"trike": trike.pk, "complaint": "chain skips"})
    assert response.status_code == 201, response.content
    return f"job-cards/{response.json()['id']}", response


def test_a_job_card_is_filled_signed_and_amended(mechanic, trike):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain")
    address, card = open_card(mechanic, trike)
    chain, battery = part_at(trike, "chain"), part_at(trike, "battery")
    spare = make.ComponentFactory(part_type__kind="battery")
    steps = [
        ("odometer", {"value": 300, "unit": "km"}),
        ("tasks", {"component": chain.pk, "task": "chain_check", "outcome": "done"}),
        ("measurements", {"component": chain.pk, "quantity": "chain_elongation_pct", "value": 0.62}),
        (
            "swaps",
            {
                "position": "battery",
                "old_serial": battery.serial.lower(),
                "new_serial": spare.serial,
                "fate": "returned",
            },
        ),
        ("failures", {"component": battery.pk, "mode": "low_output", "cause": "wear", "found": "owner"}),
    ]
    version = card.json()["version"]
    for step, body in steps:
        shown = mechanic.post(f"{address}/{step}", body)
        assert shown.status_code == 200, shown.content
        assert shown.json()["version"] > version
        version = shown.json()["version"]
        assert shown["ETag"] == f'"{version}"'
    assert shown.json()["measurements"][0]["words"] == "0.62 % - replace soon: limit 0.75 %."
    problem(mechanic.post(f"{address}/sign", If_Match='"1"'), 412, "precondition-failed")
    signed = mechanic.post(f"{address}/sign", If_Match=shown["ETag"])
    assert signed.status_code == 200
    assert signed.json()["state"] == "signed"
    assert part_at(trike, "battery") == spare
    assert Completion.objects.filter(component=chain, task="chain_check").exists()
    assert rebuild_differences() == []
    answer = problem(person("mechanic").post(f"{address}/sign"), 409, "card-already-signed")
    assert str(mechanic.user) in answer["detail"]
    amended = mechanic.post(f"{address}/amendments", {"text": "The chain was the old one."})
    assert amended.status_code == 201
    assert amended.json()["kind"] == "amendment"
    assert LogEntry.objects.get(pk=amended.json()["amends"]).kind == "job_card_signed"


def test_a_signed_card_takes_nothing_more(mechanic, trike):
    address, _ = open_card(mechanic, trike)
    mechanic.post(f"{address}/odometer", {"value": 300})
    mechanic.patch(address, {"correction": "adjusted"}, If_Match="*")
    assert mechanic.post(f"{address}/sign").status_code == 200
    chain = part_at(trike, "chain").pk
    for step, body in (
        ("odometer", {"value": 301}), ("tasks", {"component": chain, "task": "chain_check", "outcome": "done"}),
        ("swaps", {"position": "chain", "fate": "scrapped"}), ("cancel", None),
    ):  # fmt: skip
        problem(mechanic.post(f"{address}/{step}", body), 409, "card-already-signed")
    problem(mechanic.patch(address, {"cause": "x"}, If_Match="*"), 409, "card-already-signed")


def test_tasks_and_swaps_are_taken_off_a_draft_and_a_draft_is_cancelled(mechanic, trike):
    address, _ = open_card(mechanic, trike)
    chain = part_at(trike, "chain").pk
    task = mechanic.post(f"{address}/tasks", {"component": chain, "task": "chain_check", "outcome": "deferred"}).json()[
        "tasks"
    ][0]
    swap = mechanic.post(f"{address}/swaps", {"position": "chain", "fate": "scrapped"}).json()["swaps"][0]
    assert mechanic.delete(f"{address}/tasks/{task['id']}").json()["tasks"] == []
    assert mechanic.delete(f"{address}/swaps/{swap['id']}").json()["swaps"] == []
    problem(mechanic.delete(f"{address}/tasks/{task['id']}"), 404, "not-found")
    problem(mechanic.delete(f"{address}/swaps/0"), 404, "not-found")
    assert mechanic.post(f"{address}/cancel").json()["state"] == "cancelled"
    problem(mechanic.post(f"{address}/amendments", {"text": "x"}), 409, "wrong-state")


def test_a_card_without_work_is_not_signed(mechanic, trike):
    address, _ = open_card(mechanic, trike)
    assert faults(problem(mechanic.post(f"{address}/sign"), 422, "not-enough")) == {"/odometer": "not-enough"}


def test_the_words_of_a_card_change_under_its_entity_tag(desk, trike):
    address, card = open_card(desk, trike)
    problem(desk.patch(address, {"cause": "wear"}), 428, "precondition-required")
    changed = desk.patch(address, {"cause": "wear", "minutes": 30}, If_Match=card["ETag"])
    assert (changed.json()["cause"], changed.json()["minutes"]) == ("wear", 30)
    problem(desk.patch(address, {"cause": "use"}, If_Match=card["ETag"]), 412, "precondition-failed")


def many(trike, *values):
    return {
        "readings": [
            {"trike": trike.pk, "value": value, "read_at": f"2026-04-{10 + i}T09:00:00Z"}
            for i, value in enumerate(values)
        ]
    }


def test_many_readings_are_written_all_in_the_order_they_came(desk, trike):
    other = make.TrikeFactory()
    body = many(trike, 300, 310, 330)
    body["readings"].insert(0, {"trike": other.pk, "value": 50, "read_at": AT})
    body["readings"].reverse()
    made = desk.post("readings/bulk", body, Idempotency_Key="k1")
    assert made.status_code == 201, made.content
    assert [row["value"] for row in made.json()["readings"]] == [330, 310, 300, 50]
    assert {row["verdict"] for row in made.json()["readings"]} == {"accepted"}
    assert OdometerReading.objects.count() == 4
    assert rebuild_differences() == []


def test_of_many_readings_none_is_written_when_some_are_bad_and_every_bad_row_is_told(desk, trike):
    body = many(trike, 300, 310, 320)
    body["readings"][1]["read_at"] = "2027-01-01T00:00:00Z"
    body["readings"][2]["trike"] = 987654
    answer = problem(desk.post("readings/bulk", body, Idempotency_Key="k1"), 422, "bad-rows")
    assert {tuple(pointer.split("/")[:3]) for pointer in faults(answer)} == {
        ("", "readings", "1"),
        ("", "readings", "2"),
    }
    assert "2 of 3" in answer["detail"]
    assert not OdometerReading.objects.exists()
    assert not LogEntry.objects.exists()


def test_rows_of_the_wrong_form_are_told_by_their_place(desk, trike):
    body = many(trike, 300, "x")
    body["readings"][0]["colour"] = "red"
    answer = problem(desk.post("readings/bulk", body, Idempotency_Key="k1"), 400, "invalid-body")
    assert faults(answer) == {"/readings/0/colour": "unknown-member", "/readings/1/value": "not-a-number"}


def test_many_readings_need_a_key_and_have_a_limit(desk, trike):
    problem(desk.post("readings/bulk", many(trike, 300)), 400, "bad-idempotency-key")
    rows = [{"trike": trike.pk, "value": 1, "read_at": AT}] * 201
    assert faults(problem(desk.post("readings/bulk", {"readings": rows}, Idempotency_Key="a"), 400, "invalid-body"))
    assert faults(problem(desk.post("readings/bulk", {"readings": []}, Idempotency_Key="b"), 400, "invalid-body"))


def test_the_same_key_and_body_make_one_owner_and_the_same_answer_byte_for_byte(desk):
    first = desk.post("owners", {"name": "Ada"}, Idempotency_Key="k")
    again = desk.post("owners", {"name": "Ada"}, Idempotency_Key='"k"')
    assert Owner.objects.count() == 1
    assert (again.status_code, again.content) == (first.status_code, first.content)
    assert (again["Location"], again["ETag"]) == (first["Location"], first["ETag"])
    assert again["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first


def test_the_same_key_with_another_body_or_address_is_a_422(desk):
    desk.post("owners", {"name": "Ada"}, Idempotency_Key="k")
    problem(desk.post("owners", {"name": "Bob"}, Idempotency_Key="k"), 422, "key-reused")
    problem(desk.post("job-cards", {"trike": 1}, Idempotency_Key="k"), 422, "key-reused")
    assert Owner.objects.count() == 1


def test_two_callers_may_use_the_same_key(desk, mechanic):
    assert desk.post("owners", {"name": "Ada"}, Idempotency_Key="k").status_code == 201
    assert mechanic.post("owners", {"name": "Bob"}, Idempotency_Key="k").status_code == 201


def test_a_refusal_is_repeated_even_when_it_would_now_succeed(desk, trike):
    spare = make.ComponentFactory(part_type__kind="chain")
    body = {"trike": trike.pk, "position": "chain", "component": spare.pk, "fitted_at": AT}
    first = desk.post("fitments", body, Idempotency_Key="k")
    problem(first, 409, "position-taken")
    Fitment.objects.filter(trike=trike, position="chain").update(removed_at="2026-05-01T08:00:00Z")
    again = desk.post("fitments", body, Idempotency_Key="k")
    assert (again.status_code, again.content) == (first.status_code, first.content)
    assert desk.post("fitments", body, Idempotency_Key="k2").status_code == 201


def test_a_body_of_the_wrong_form_does_not_use_up_its_key(desk):
    problem(desk.post("owners", {}, Idempotency_Key="k"), 400, "invalid-body")
    assert desk.post("owners", {"name": "Ada"}, Idempotency_Key="k").status_code == 201


def test_signing_again_with_the_same_key_repeats_the_answer(mechanic, trike):
    address, _ = open_card(mechanic, trike)
    mechanic.post(f"{address}/odometer", {"value": 300})
    shown = mechanic.patch(address, {"correction": "adjusted"}, If_Match="*")
    first = mechanic.post(f"{address}/sign", Idempotency_Key="s", If_Match=shown["ETag"])
    again = mechanic.post(f"{address}/sign", Idempotency_Key="s", If_Match=shown["ETag"])
    assert (first.status_code, again.status_code) == (200, 200)
    assert again.content == first.content


def test_a_key_fills_a_card_and_a_person_signs_it(mechanic, trike):
    system = machine("read", "jobs:write", role="mechanic")
    address, _ = open_card(system, trike)
    assert system.post(f"{address}/odometer", {"value": 300}).status_code == 200
    assert system.patch(address, {"correction": "adjusted"}, If_Match="*").status_code == 200
    problem(system.post(f"{address}/sign"), 403, "not-allowed")
    assert mechanic.post(f"{address}/sign").status_code == 200


def test_things_named_in_a_body_that_do_not_exist_are_told(desk):
    answer = problem(desk.post("readings", {"trike": 987654, "value": 1, "read_at": AT}), 422, "invalid")
    assert "trike" in answer["detail"]
    problem(desk.post("components", {"part_type": 987654, "serial": "A1"}), 422, "invalid")
    assert not Component.objects.exists()
    assert not Trike.objects.exists()


def test_messages_visits_and_log_entries_are_told(desk, trike):
    message = make.OutboxMessageFactory(trike=trike, state="unknown")
    visit = make.VisitLineFactory(visit__trike=trike).visit
    entry = make.LogEntryFactory(trike=trike)
    assert desk.get("messages", state="unknown").json()["results"][0]["id"] == message.pk
    assert desk.get(f"messages/{message.pk}").json()["owner"] == message.owner_id
    assert desk.get(f"visits/{visit.pk}").json()["lines"][0]["task"] == "chain_check"
    assert desk.get(f"log-entries/{entry.pk}").json()["hash"] == entry.hash
    assert desk.get(f"trikes/{trike.pk}/distance").json()["rate_basis"] == "typical"


def test_while_the_first_request_runs_the_second_is_told_when_to_come_again(desk, now):
    from tracker.models import IdempotencyRecord

    desk.post("owners", {"name": "Ada"}, Idempotency_Key="k")
    IdempotencyRecord.objects.update(status=None, body=None)
    answer = desk.post("owners", {"name": "Ada"}, Idempotency_Key="k")
    problem(answer, 409, "request-in-flight")
    assert answer["Retry-After"] == "1"
    assert Owner.objects.count() == 1


def test_a_lost_race_gives_its_key_back(reviewer):
    body = {"task": "chain_check", "part_kind": "chain", "every_km": 1500}
    made = reviewer.post("intervals", body)
    problem(reviewer.post("intervals", body, Idempotency_Key="k"), 409, "clash")
    from tracker.models import IdempotencyRecord, ServiceInterval

    assert not IdempotencyRecord.objects.exists()
    ServiceInterval.objects.filter(pk=made.json()["id"]).update(
        task="chain_replace"
    )  # out of the way; its changes stay
    assert reviewer.post("intervals", body, Idempotency_Key="k").status_code == 201
