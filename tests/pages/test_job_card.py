"""The job card: sections saved one by one, cautions first, refusals in place, one signature."""

import pytest

from tests import factories as make
from tests.pages.conftest import PASSWORD, carry
from tests.releasing import release_if_demanded
from tracker.models import JobCard


def at(workshop, section: str = "") -> str:
    return f"/jobs/{workshop.card.pk}/{section}"


def test_a_card_is_opened_from_the_trike_with_the_complaint(workshop, desk):
    JobCard.objects.filter(pk=workshop.card.pk).update(state="cancelled")
    answer = desk.post(f"/trikes/{workshop.trike.pk}/job/", {"complaint": "It squeaks."})
    card = JobCard.objects.get(state="draft")
    assert (card.complaint, answer["Location"]) == ("It squeaks.", f"/jobs/{card.pk}/")


def test_a_second_open_card_is_refused_and_the_complaint_stays(workshop, desk):
    answer = desk.post(f"/trikes/{workshop.trike.pk}/job/", {"complaint": "It squeaks."})
    assert answer.status_code == 409
    assert "J25-00042 is open for this trike" in answer.content.decode()
    assert "It squeaks." in answer.content.decode()


def test_each_section_is_saved_on_its_own_and_leads_back_to_itself(workshop, mechanic):
    answer = mechanic.post(at(workshop, "words/"), {"cause": "dry chain", "minutes": "20", "version": 1})
    assert answer["Location"] == at(workshop, "#words")
    workshop.card.refresh_from_db()
    assert (workshop.card.cause, workshop.card.minutes) == ("dry chain", 20)


def test_the_odometer_is_taken_in_the_owners_unit(workshop, mechanic):
    mechanic.post(at(workshop, "odometer/"), {"value": "1310", "unit": "mi", "version": 1})
    workshop.card.refresh_from_db()
    assert round(workshop.card.reading.km) == 2108


def test_a_doubtful_odometer_shows_reason_and_choices_in_place(workshop, mechanic):
    page = mechanic.post(at(workshop, "odometer/"), {"value": "130", "unit": "km", "version": 1}, follow=True)
    text = page.content.decode()
    workshop.card.refresh_from_db()
    assert workshop.card.reading.verdict == "suspect"
    assert f'action="/readings/{workshop.card.reading_id}/decide/"' in text


def test_two_people_on_one_section_see_both_texts_and_nothing_is_lost(workshop, mechanic, desk):
    desk.post(at(workshop, "words/"), {"cause": "theirs", "version": 1})
    answer = mechanic.post(at(workshop, "words/"), {"cause": "mine", "version": 1})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "theirs" in page
    assert ">\nmine</textarea>" in page
    again = mechanic.post(at(workshop, "words/"), {"cause": "mine", "version": answer.context["words"].data["version"]})
    assert again.status_code == 302
    workshop.card.refresh_from_db()
    assert workshop.card.cause == "mine"


def test_the_caution_stands_before_the_input_of_its_task(workshop, mechanic):
    battery = carry(workshop.trike, "battery", "battery", "B1")
    make.JobTaskFactory(card=workshop.card, component=battery, task="battery_capacity_test")
    page = mechanic.get(at(workshop)).content.decode()
    task = page[page.index(f'id="task-{battery.pk}-battery_capacity_test"') :]
    assert task.index('class="caution"') < task.index("<form")


def test_safety_tasks_and_checks_after_an_accident_come_first(workshop, mechanic):
    frame = workshop.trike.fitments.get(position="frame").component
    for task in ("lights_check", "brakes_check", "tyres_check", "after_crash"):
        if task != "brakes_check":
            make.JobTaskFactory(card=workshop.card, component=frame, task=task)
    lines = mechanic.get(at(workshop)).context["found"].tasks
    assert [line.row.task for line in lines] == ["after_crash", "tyres_check", "lights_check", "chain_check"]


@pytest.mark.parametrize("outcome", ["done", "deferred", "proposed"])
def test_a_task_is_ticked_deferred_or_opened_again(workshop, mechanic, outcome):
    values = {"component_id": workshop.chain.pk, "task": "chain_check", "outcome": outcome, "note": "next time"}
    mechanic.post(at(workshop, "task/"), values)
    row = workshop.card.tasks.get()
    assert (row.outcome, row.note) == (outcome, "next time")


def test_a_task_is_taken_off_and_another_put_on(workshop, mechanic):
    mechanic.post(at(workshop, "task/"), {"component_id": workshop.chain.pk, "task": "chain_check", "outcome": "drop"})
    mechanic.post(at(workshop, "add-task/"), {"pick": f"{workshop.shock.pk}:shock_air_check"})
    assert [row.task for row in workshop.card.tasks.all()] == ["shock_air_check"]


def test_a_measurement_shows_its_verdict_in_words(workshop, mechanic):
    values = {
        "component_id": workshop.chain.pk,
        "quantity": "chain_elongation_pct",
        "value": "0.81",
        "instrument": "rule",
    }
    page = mechanic.post(at(workshop, "measure/"), values, follow=True).content.decode()
    taken = workshop.card.measurements.get()
    assert taken.level == "replace"
    assert taken.words in page
    assert 'class="status replace"' in page


def test_a_pressure_in_psi_is_kept_in_kpa_with_its_temperature(workshop, mechanic):
    make.JobTaskFactory(card=workshop.card, component=workshop.shock, task="shock_air_check")
    values = {"component_id": workshop.shock.pk, "quantity": "shock_pressure", "value": "150", "unit": "psi"}
    mechanic.post(at(workshop, "measure/"), values | {"temperature_c": "12"})
    taken = workshop.card.measurements.get()
    assert (round(taken.value, 2), taken.context) == (1034.21, {"temperature_c": 12.0})  # 150 psi, NIST SP 811


def test_an_impossible_measurement_is_refused_beside_the_value_which_stays(workshop, mechanic):
    values = {"component_id": workshop.chain.pk, "quantity": "chain_elongation_pct", "value": "40"}
    answer = mechanic.post(at(workshop, "measure/"), values)
    page = answer.content.decode()
    box = page[page.index(f'id="measure-{workshop.chain.pk}-chain_elongation_pct"') :]
    assert answer.status_code == 422
    assert box.index('value="40"') < box.index('class="refused"') < box.index("</form>")
    assert not workshop.card.measurements.exists()


def test_a_swap_is_planned_and_carried_out_by_the_signature(workshop, mechanic):
    make.ComponentFactory(serial="K99", part_type=workshop.chain.part_type)
    values = {"position": "chain", "old_serial": "k24000", "new_serial": "k99", "fate": "scrapped", "reason": "worn"}
    mechanic.post(at(workshop, "swap/"), values)
    workshop.chain.refresh_from_db()
    assert workshop.chain.state == "fitted"
    mechanic.post(at(workshop, "odometer/"), {"value": "2100", "unit": "km", "version": 2})
    card = release_if_demanded(workshop.card, make.NOW)
    mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": card.version})
    workshop.card.refresh_from_db()
    workshop.chain.refresh_from_db()
    assert (workshop.card.state, workshop.chain.state) == ("signed", "scrapped")
    assert workshop.trike.fitments.current().get(position="chain").component.serial == "K99"


@pytest.mark.parametrize(
    ("values", "field", "said"),
    [
        ({"position": "chain", "new_serial": "NOPE", "fate": "scrapped"}, "new_serial", "Take it into stock first"),
        ({"position": "chain", "old_serial": "S24037", "new_serial": "K99", "fate": "scrapped"}, "old_serial", "holds K24000"),
        ({"position": "chain", "new_serial": "K99"}, "fate", "In stock, quarantined"),
    ],
)  # fmt: skip
def test_a_swap_that_cannot_be_is_refused_beside_its_field(workshop, mechanic, values, field, said):
    make.ComponentFactory(serial="K99", part_type=workshop.chain.part_type)
    answer = mechanic.post(at(workshop, "swap/"), values)
    assert said in str(answer.context["swap"][field].errors)
    assert f'value="{values["new_serial"]}"' in answer.content.decode()


def test_a_planned_swap_can_be_taken_back(workshop, mechanic):
    make.SwapFactory(card=workshop.card, position="battery")
    mechanic.post(at(workshop, "swap/"), {"drop": "battery"})
    assert not workshop.card.swaps.exists()


def test_a_failure_is_recorded_with_mode_and_cause(workshop, mechanic):
    values = {
        "component_id": workshop.chain.pk,
        "mode": "wear",
        "cause": "wear",
        "found": "measurement",
        "warranty": "on",
    }
    mechanic.post(at(workshop, "failure/"), values)
    row = workshop.card.failures.get()
    assert (row.mode, row.warranty) == ("wear", True)
    assert "worn out, cause: expected wear" in mechanic.get(at(workshop)).content.decode()


def test_signing_asks_for_the_password_again(workshop, mechanic):
    answer = mechanic.post(at(workshop, "sign/"), {"password": "wrong", "version": 1})
    assert answer.status_code == 422
    assert "This is not your password." in str(answer.context["form"]["password"].errors)
    workshop.card.refresh_from_db()
    assert workshop.card.state == "draft"


def test_a_card_without_an_odometer_is_not_signed_and_says_what_is_missing(workshop, mechanic):
    answer = mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": 1})
    assert "The odometer is missing. Enter what the display shows." in answer.content.decode()


def test_a_card_somebody_changed_meanwhile_is_not_signed_unseen(workshop, mechanic):
    JobCard.objects.filter(pk=workshop.card.pk).update(version=5, cause="new words")
    answer = mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": 1})
    assert answer.status_code == 409
    assert "new words" in answer.content.decode()


@pytest.fixture
def signed(workshop, mechanic):
    mechanic.post(at(workshop, "odometer/"), {"value": "2100", "unit": "km", "version": 1})
    done = {"component_id": workshop.chain.pk, "task": "chain_check", "outcome": "done"}
    mechanic.post(at(workshop, "task/"), done)
    workshop.card.refresh_from_db()
    mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": workshop.card.version})
    workshop.card.refresh_from_db()
    assert workshop.card.state == "signed"
    return workshop


def test_a_signed_card_has_no_forms_but_the_amendment(signed, mechanic):
    page = mechanic.get(at(signed)).content.decode()
    assert page.count("<form") == 3  # search, log out, amend
    assert at(signed, "amend/") in page


def test_a_signed_card_takes_no_more_sections_and_loses_nothing(signed, mechanic):
    answer = mechanic.post(at(signed, "words/"), {"cause": "too late", "version": signed.card.version})
    assert answer.status_code == 409
    assert "Write an amendment." in answer.content.decode()
    signed.card.refresh_from_db()
    assert signed.card.cause == ""


def test_an_amendment_stands_above_the_signed_card(signed, mechanic):
    mechanic.post(at(signed, "amend/"), {"text": "It was the left one."})
    assert "It was the left one." in mechanic.get(at(signed)).content.decode()


def test_the_service_desk_sees_a_signed_card_without_the_amendment_box(signed, desk):
    assert at(signed, "amend/") not in desk.get(at(signed)).content.decode()


def test_signing_twice_is_refused(signed, mechanic):
    answer = mechanic.post(at(signed, "sign/"), {"password": PASSWORD, "version": signed.card.version})
    assert answer.status_code == 409


def test_the_trikes_history_tells_the_card_in_words(signed, desk):
    page = desk.get(f"/trikes/{signed.trike.pk}/").content.decode()
    assert "<b>Done:</b> Chain check (J25-00042)" in page


def test_a_card_is_cancelled_and_says_so(workshop, desk):
    desk.post(at(workshop, "cancel/"), {"version": 1})
    workshop.card.refresh_from_db()
    assert workshop.card.state == "cancelled"


def test_the_card_costs_the_same_queries_with_2_tasks_and_22(workshop, mechanic, assert_flat_queries):
    def grow() -> None:
        for number in range(20):
            part = make.ComponentFactory(serial=f"T{number}", part_type=workshop.chain.part_type)
            make.JobTaskFactory(card=workshop.card, component=part)
            make.MeasurementFactory(card=workshop.card, component=part)
            make.FailureFactory(card=workshop.card, component=part, trike=workshop.trike)

    make.MeasurementFactory(card=workshop.card, component=workshop.chain)
    make.FailureFactory(card=workshop.card, component=workshop.chain, trike=workshop.trike)
    assert_flat_queries(lambda: mechanic.get(at(workshop)), grow)
