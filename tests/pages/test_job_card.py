"""The job card step by step: fields kept one by one, cautions first, refusals in place, one signature."""

import pytest

from tests import factories as make
from tests.pages.conftest import PASSWORD, carry, due
from tracker.models import JobCard


def at(workshop, step: str = "") -> str:
    return f"/jobs/{workshop.card.pk}/{step}"


def measure_name(part, quantity: str, field: str) -> str:
    return f"measure-{part.pk}-{quantity}-{field}"


def measured(part, quantity: str, **fields: str) -> dict[str, str]:
    """What the bench sends of one measurement."""
    return {measure_name(part, quantity, name): value for name, value in fields.items()}


def outcome(part, task: str, button: str = "done", base: str = "proposed") -> dict[str, str]:
    """What the bench sends when a task's button is pressed."""
    return {button: f"{part.pk}:{task}", f"base-task-{part.pk}-{task}-outcome": base}


def fresh(workshop) -> JobCard:
    workshop.card.refresh_from_db()
    return workshop.card


def test_a_card_is_opened_from_the_trike_by_one_button(workshop, desk):
    JobCard.objects.filter(pk=workshop.card.pk).update(state="cancelled")
    answer = desk.post(f"/trikes/{workshop.trike.pk}/job/")
    card = JobCard.objects.get(state="draft")
    assert answer["Location"] == f"/jobs/{card.pk}/"
    assert desk.get(answer["Location"])["Location"] == f"/jobs/{card.pk}/intake/"


def test_the_button_pressed_twice_leads_to_the_card_it_opened(workshop, desk):
    answers = [desk.post(f"/trikes/{workshop.trike.pk}/job/") for _ in range(2)]
    assert {answer["Location"] for answer in answers} == {at(workshop)}
    assert JobCard.objects.count() == 1


def test_a_card_is_opened_with_the_complaint(workshop, desk):
    JobCard.objects.filter(pk=workshop.card.pk).update(state="cancelled")
    answer = desk.post(f"/trikes/{workshop.trike.pk}/job/", {"complaint": "It squeaks."})
    card = JobCard.objects.get(state="draft")
    assert (card.complaint, answer["Location"]) == ("It squeaks.", f"/jobs/{card.pk}/")


def test_a_second_open_card_is_refused_and_the_complaint_stays(workshop, desk):
    answer = desk.post(f"/trikes/{workshop.trike.pk}/job/", {"complaint": "It squeaks."})
    assert answer.status_code == 409
    assert "J25-00042 is open for this trike" in answer.content.decode()
    assert "It squeaks." in answer.content.decode()


def test_the_card_opens_at_the_step_that_needs_something(workshop, mechanic):
    assert mechanic.get(at(workshop))["Location"] == at(workshop, "intake/")
    mechanic.post(at(workshop, "intake/"), {"value": "2100", "unit": "km"})
    assert mechanic.get(at(workshop))["Location"] == at(workshop, "tasks/")
    mechanic.post(at(workshop, "bench/"), outcome(workshop.chain, "chain_check"))
    assert mechanic.get(at(workshop))["Location"] == at(workshop, "findings/")


def test_the_bar_says_in_words_what_each_step_still_needs(workshop, mechanic):
    page = mechanic.get(at(workshop, "tasks/")).content.decode()
    bar = page[page.index('class="flow"') : page.index("</nav>", page.index('class="flow"'))]
    for words in ("odometer missing", "1 ticked", "1 to do, 1 to measure", "2 things missing"):
        assert words in bar


# Intake


def test_the_intake_keeps_odometer_and_complaint_and_goes_on_to_the_tasks(workshop, mechanic):
    answer = mechanic.post(at(workshop, "intake/"), {"value": "2100", "unit": "km", "complaint": "It squeaks."})
    assert answer["Location"] == at(workshop, "tasks/")
    card = fresh(workshop)
    assert (float(card.reading.value), card.complaint) == (2100, "It squeaks.")


def test_the_odometer_is_taken_in_the_owners_unit(workshop, mechanic):
    mechanic.post(at(workshop, "intake/"), {"value": "1310", "unit": "mi"})
    assert round(fresh(workshop).reading.km) == 2108


def test_the_intake_sent_twice_is_one_reading(workshop, mechanic):
    for _ in range(2):
        mechanic.post(at(workshop, "intake/"), {"value": "2100", "unit": "km", "base-odometer": ""})
    assert workshop.trike.readings.filter(value=2100).count() == 1


def test_the_same_value_read_again_later_is_a_reading_of_its_own(workshop, mechanic):
    for again in ({}, {"again": "1"}):
        mechanic.post(at(workshop, "intake/"), {"value": "2100", "unit": "km", "base-odometer": "", **again})
    assert workshop.trike.readings.filter(value=2100).count() == 2


def test_an_odometer_somebody_else_entered_meanwhile_is_shown_and_not_overwritten(workshop, mechanic, desk):
    desk.post(at(workshop, "intake/"), {"value": "2100", "unit": "km", "base-odometer": ""})
    answer = mechanic.post(at(workshop, "intake/"), {"value": "2101", "unit": "km", "base-odometer": ""})
    assert answer.status_code == 409
    assert "Somebody else wrote here meanwhile: 2100 km." in answer.content.decode()
    assert 'value="2101"' in answer.content.decode()
    again = {"value": "2101", "unit": "km", "base-odometer": answer.context["odometer"].base}
    assert mechanic.post(at(workshop, "intake/"), again).status_code == 302
    assert float(fresh(workshop).reading.value) == 2101


def test_a_doubtful_odometer_shows_reason_and_choices_in_place(workshop, mechanic):
    page = mechanic.post(at(workshop, "intake/"), {"value": "130", "unit": "km"})
    reading = fresh(workshop).reading
    assert reading.verdict == "suspect"
    assert f'action="/readings/{reading.pk}/decide/"' in page.content.decode()
    assert "odometer in doubt" in page.content.decode()


def test_the_complaint_is_kept_though_the_odometer_is_refused(workshop, mechanic):
    answer = mechanic.post(at(workshop, "intake/"), {"value": "many", "unit": "km", "complaint": "It squeaks."})
    assert answer.status_code == 422
    assert 'value="many"' in answer.content.decode()
    assert fresh(workshop).complaint == "It squeaks."


# Two people


def test_two_people_on_one_field_see_both_texts_and_nothing_is_lost(workshop, mechanic, desk):
    desk.post(at(workshop, "findings/"), {"cause": "theirs", "base-cause": ""})
    answer = mechanic.post(at(workshop, "findings/"), {"cause": "mine", "base-cause": ""})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Person" in page
    assert "<q>theirs</q>" in page
    assert ">\nmine</textarea>" in page
    base = answer.context["words"].base_of("cause")
    again = mechanic.post(at(workshop, "findings/"), {"cause": "mine", "base-cause": base})
    assert again.status_code == 302
    assert fresh(workshop).cause == "mine"


def test_two_people_on_different_fields_never_collide(workshop, mechanic, desk):
    loaded = {"cause": "", "base-cause": "", "correction": "", "base-correction": ""}
    desk.post(at(workshop, "findings/"), loaded | {"cause": "dry chain"})
    mechanic.post(at(workshop, "findings/"), loaded | {"correction": "oiled"})
    card = fresh(workshop)
    assert (card.cause, card.correction) == ("dry chain", "oiled")


def test_a_text_of_several_lines_is_the_same_however_its_lines_end(workshop, mechanic):
    JobCard.objects.filter(pk=workshop.card.pk).update(cause="one\ntwo")
    sent = {"cause": "one\r\ntwo\r\nthree", "base-cause": "one\r\ntwo"}
    assert mechanic.post(at(workshop, "findings/"), sent).status_code == 302
    assert fresh(workshop).cause == "one\ntwo\nthree"


# Tasks


def test_tasks_stand_ticked_with_minutes_and_unticked_they_are_deferred(workshop, mechanic):
    page = mechanic.get(at(workshop, "tasks/")).content.decode()
    row = f"task-{workshop.chain.pk}-chain_check-outcome"
    assert f'name="{row}" value="on" checked' in page
    assert "10 min" in page
    answer = mechanic.post(at(workshop, "tasks/"), {f"base-{row}": "proposed"})
    assert answer["Location"] == at(workshop, "bench/")
    assert workshop.card.tasks.get().outcome == "deferred"
    mechanic.post(at(workshop, "tasks/"), {f"base-{row}": "deferred", row: "on"})
    assert workshop.card.tasks.get().outcome == "proposed"


def test_a_proposed_task_says_why_it_is_due(workshop, mechanic):
    due(workshop.trike, workshop.chain)
    page = mechanic.get(at(workshop, "tasks/")).content.decode()
    assert "Chain check" in page
    assert 'class="status soon"' in page
    assert "Not due: added by hand." not in page


def test_a_task_done_meanwhile_is_not_deferred_unseen(workshop, mechanic):
    workshop.card.tasks.update(outcome="done")
    row = f"task-{workshop.chain.pk}-chain_check-outcome"
    answer = mechanic.post(at(workshop, "tasks/"), {f"base-{row}": "proposed"})
    assert answer.status_code == 409
    assert workshop.card.tasks.get().outcome == "done"


def test_a_task_is_taken_off_and_another_put_on_by_searching(workshop, mechanic):
    mechanic.post(at(workshop, "tasks/"), {"drop": f"{workshop.chain.pk}:chain_check"})
    mechanic.post(at(workshop, "tasks/"), {"find": "shock air rear s24037"})  # three tasks have these words
    assert not workshop.card.tasks.exists()
    mechanic.post(at(workshop, "tasks/"), {"add": f"{workshop.shock.pk}:shock_air_check", "find": "shock"})
    assert [row.task for row in workshop.card.tasks.all()] == ["shock_air_check"]


def test_a_search_that_means_one_task_adds_it_at_once(workshop, mechanic):
    mechanic.post(at(workshop, "tasks/"), {"find": "wash chain"})
    assert set(workshop.card.tasks.values_list("task", flat=True)) == {"chain_check", "chain_clean"}


def test_a_search_that_means_several_offers_them(workshop, mechanic):
    page = mechanic.post(at(workshop, "tasks/"), {"find": "shock"}).content.decode()
    assert "Which one?" in page
    assert f'value="{workshop.shock.pk}:shock_air_check"' in page


# Bench


def test_the_caution_stands_before_the_input_of_its_task(workshop, mechanic):
    battery = carry(workshop.trike, "battery", "battery", "B1")
    make.JobTaskFactory(card=workshop.card, component=battery, task="battery_capacity_test")
    page = mechanic.get(at(workshop, "bench/")).content.decode()
    task = page[page.index(f'id="task-{battery.pk}-battery_capacity_test"') :]
    assert task.index('class="caution"') < task.index("<input")


def test_the_limit_and_the_last_value_stand_beside_the_field(workshop, mechanic):
    old = make.JobCardFactory(trike=workshop.trike)
    make.MeasurementFactory(
        card=old, component=workshop.chain, words="0.31 % - good: limit 0.75 %.", taken_at=make.DELIVERED
    )
    old.state, old.signed_at, old.signed_by = "signed", make.NOW, make.UserFactory()
    old.save()
    page = mechanic.get(at(workshop, "bench/")).content.decode()
    assert "order a new one from 0.60 %, limit 0.75 %" in page
    assert "0.31 % - good" in page


def test_safety_tasks_and_checks_after_an_accident_come_first(workshop, mechanic):
    frame = workshop.trike.fitments.get(position="frame").component
    for task in ("lights_check", "brakes_check", "tyres_check", "after_crash"):
        if task != "brakes_check":
            make.JobTaskFactory(card=workshop.card, component=frame, task=task)
    lines = mechanic.get(at(workshop, "bench/")).context["found"].tasks
    assert [line.row.task for line in lines] == ["after_crash", "tyres_check", "lights_check", "chain_check"]


@pytest.mark.parametrize(
    ("button", "base", "came_of_it"),
    [("done", "proposed", "done"), ("later", "proposed", "deferred"), ("again", "done", "proposed")],
)
def test_a_task_is_done_deferred_or_opened_again(workshop, mechanic, button, base, came_of_it):
    workshop.card.tasks.update(outcome=base)
    note = {f"task-{workshop.chain.pk}-chain_check-note": "next time"}
    mechanic.post(at(workshop, "bench/"), outcome(workshop.chain, "chain_check", button, base) | note)
    row = workshop.card.tasks.get()
    assert (row.outcome, row.note) == (came_of_it, "next time")


def test_done_pressed_twice_is_done_once(workshop, mechanic):
    for _ in range(2):
        mechanic.post(at(workshop, "bench/"), outcome(workshop.chain, "chain_check"))
    assert workshop.card.tasks.get().outcome == "done"
    assert fresh(workshop).version == 2


def test_a_measurement_shows_its_verdict_in_words(workshop, mechanic):
    values = measured(workshop.chain, "chain_elongation_pct", value="0.81", instrument="rule")
    page = mechanic.post(at(workshop, "bench/"), values, follow=True).content.decode()
    taken = workshop.card.measurements.get()
    assert taken.level == "replace"
    assert taken.words in page
    assert 'class="status replace"' in page


def test_a_value_taken_out_again_is_not_measured(workshop, mechanic):
    page = mechanic.post(
        at(workshop, "bench/"), measured(workshop.chain, "chain_elongation_pct", value="0.81"), follow=True
    )
    base = page.context["rows"][0]["measures"][0]["base"]
    mechanic.post(at(workshop, "bench/"), measured(workshop.chain, "chain_elongation_pct", value="", base=base))
    assert not workshop.card.measurements.exists()


def test_a_value_somebody_else_measured_meanwhile_is_shown_and_not_overwritten(workshop, mechanic, desk):
    desk.post(at(workshop, "bench/"), measured(workshop.chain, "chain_elongation_pct", value="0.6", base=""))
    answer = mechanic.post(
        at(workshop, "bench/"), measured(workshop.chain, "chain_elongation_pct", value="0.7", base="")
    )
    assert answer.status_code == 409
    assert "<q>0.6 %</q>" in answer.content.decode()
    assert workshop.card.measurements.get().value == 0.6


def test_done_keeps_what_is_typed_on_every_card(workshop, mechanic):
    make.JobTaskFactory(card=workshop.card, component=workshop.shock, task="shock_air_check")
    sent = measured(workshop.chain, "chain_elongation_pct", value="0.3") | measured(
        workshop.shock, "shock_sag_pct", value="30"
    )
    mechanic.post(at(workshop, "bench/"), sent | outcome(workshop.chain, "chain_check"))
    assert set(workshop.card.measurements.values_list("quantity", flat=True)) == {
        "chain_elongation_pct",
        "shock_sag_pct",
    }
    assert dict(workshop.card.tasks.values_list("task", "outcome")) == {
        "chain_check": "done", "shock_air_check": "proposed",
    }  # fmt: skip


def test_all_done_goes_on_where_everything_is_measured(workshop, mechanic):
    sent = measured(workshop.chain, "chain_elongation_pct", value="0.3")
    answer = mechanic.post(at(workshop, "bench/"), sent | {"all": "1"})
    assert answer["Location"] == at(workshop, "findings/")
    assert workshop.card.tasks.get().outcome == "done"


def test_all_done_stays_where_something_is_not_measured_and_says_what(workshop, mechanic):
    answer = mechanic.post(
        at(workshop, "bench/"), measured(workshop.chain, "chain_elongation_pct", value="") | {"all": "1"}
    )
    assert answer.status_code == 422
    assert "Not measured yet." in answer.content.decode()
    assert workshop.card.tasks.get().outcome == "proposed"


def test_a_pressure_in_psi_is_kept_in_kpa_with_its_temperature_and_shown_in_psi(workshop, mechanic):
    make.JobTaskFactory(card=workshop.card, component=workshop.shock, task="shock_air_check")
    values = measured(workshop.shock, "shock_pressure", value="150", unit="psi", temperature_c="12")
    page = mechanic.post(at(workshop, "bench/"), values, follow=True).content.decode()
    taken = workshop.card.measurements.get()
    assert (round(taken.value, 2), taken.context) == (1034.21, {"temperature_c": 12.0})  # 150 psi, NIST SP 811
    assert f'name="{measure_name(workshop.shock, "shock_pressure", "value")}" value="150"' in page
    assert '<option value="psi" selected>' in page


def test_an_impossible_measurement_is_refused_beside_the_value_which_stays(workshop, mechanic):
    sent = measured(workshop.chain, "chain_elongation_pct", value="40") | outcome(workshop.chain, "chain_check")
    answer = mechanic.post(at(workshop, "bench/"), sent)
    page = answer.content.decode()
    box = page[page.index(f'id="measure-{workshop.chain.pk}-chain_elongation_pct"') :]
    assert answer.status_code == 422
    assert box.index('value="40"') < box.index('class="refused"') < box.index("</section>")
    assert not workshop.card.measurements.exists()
    assert workshop.card.tasks.get().outcome == "proposed"


# Swaps


@pytest.fixture
def spare(workshop):
    """A battery on the trike and one in stock: swapping it demands no release."""
    old = carry(workshop.trike, "battery", "battery", "B24000")
    new = make.ComponentFactory(serial="B99", part_type=old.part_type)
    return old, new


def test_a_scanned_serial_knows_its_place_and_where_the_old_part_goes(workshop, mechanic, spare):
    page = mechanic.post(at(workshop, "bench/"), {"new_serial": " b99 "}, follow=True).content.decode()
    swap = workshop.card.swaps.get()
    assert (swap.position, swap.old_component, swap.new_component, swap.fate) == ("battery", *spare, "returned")
    assert "leaves after" in page
    mechanic.post(at(workshop, "bench/"), {"swap-battery-fate": "scrapped", "base-swap-battery-fate": "returned",
                                          "swap-battery-reason": "lost range", "base-swap-battery-reason": ""})  # fmt: skip
    swap.refresh_from_db()
    assert (swap.fate, swap.reason) == ("scrapped", "lost range")


def test_scanned_twice_it_is_one_swap_and_what_was_chosen_stays(workshop, mechanic, spare):
    mechanic.post(at(workshop, "bench/"), {"new_serial": "B99"})
    workshop.card.swaps.update(fate="scrapped")
    mechanic.post(at(workshop, "bench/"), {"new_serial": "B99"})
    assert workshop.card.swaps.get().fate == "scrapped"


def test_a_part_past_its_limit_leaves_for_that_reason(workshop, mechanic):
    make.ComponentFactory(serial="K99", part_type=workshop.chain.part_type)
    sent = measured(workshop.chain, "chain_elongation_pct", value="0.81") | {"new_serial": "K99"}
    mechanic.post(at(workshop, "bench/"), sent)
    swap = workshop.card.swaps.get()
    assert (swap.fate, swap.reason) == ("scrapped", "0.81 % - replace: limit 0.75 %.")


def test_a_part_that_fits_in_several_places_is_asked_about(workshop, mechanic):
    left = carry(workshop.trike, "tyre", "tyre-left", "T1")
    carry(workshop.trike, "tyre", "tyre-right", "T2")
    make.ComponentFactory(serial="T9", part_type=left.part_type)
    answer = mechanic.post(at(workshop, "bench/"), {"new_serial": "T9"})
    assert answer.status_code == 409
    assert 'name="place" value="tyre-right"' in answer.content.decode()
    mechanic.post(at(workshop, "bench/"), {"new_serial": "T9", "place": "tyre-right"})
    assert workshop.card.swaps.get().position == "tyre-right"


@pytest.mark.parametrize(
    ("serial", "said"),
    [("NOPE", "Take it into stock first"), ("S24037", "sits on trike F26-1040 at rear shock"), ("GONE", "is scrapped")],
)
def test_a_scanned_serial_that_cannot_go_in_is_refused_beside_the_field(workshop, mechanic, spare, serial, said):
    make.ComponentFactory(serial="GONE", part_type=spare[0].part_type, state="scrapped")
    answer = mechanic.post(at(workshop, "bench/"), {"new_serial": serial})
    assert said in str(answer.context["scan"]["new_serial"].errors)
    assert f'value="{serial}"' in answer.content.decode()
    assert not workshop.card.swaps.exists()


def test_a_swap_is_carried_out_by_the_signature(workshop, mechanic, spare):
    mechanic.post(at(workshop, "bench/"), {"new_serial": "B99"})
    old, new = spare
    old.refresh_from_db()
    assert old.state == "fitted"
    mechanic.post(at(workshop, "intake/"), {"value": "2100", "unit": "km"})
    mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": fresh(workshop).version})
    old.refresh_from_db()
    assert (fresh(workshop).state, old.state) == ("signed", "returned")
    assert workshop.trike.fitments.current().get(position="battery").component == new


@pytest.mark.parametrize(
    ("values", "field", "said"),
    [
        ({"position": "chain", "new_serial": "NOPE", "fate": "scrapped"}, "new_serial", "Take it into stock first"),
        ({"position": "chain", "old_serial": "S24037", "new_serial": "K99", "fate": "scrapped"}, "old_serial", "holds K24000"),
        ({"position": "chain", "new_serial": "K99"}, "fate", "In stock, quarantined"),
    ],
)  # fmt: skip
def test_a_swap_by_hand_that_cannot_be_is_refused_beside_its_field(workshop, mechanic, values, field, said):
    make.ComponentFactory(serial="K99", part_type=workshop.chain.part_type)
    answer = mechanic.post(at(workshop, "bench/"), values | {"by_hand": "1"})
    assert said in str(answer.context["by_hand"][field].errors)
    assert f'value="{values["new_serial"]}"' in answer.content.decode()


def test_a_place_is_left_empty_by_hand(workshop, mechanic):
    mechanic.post(
        at(workshop, "bench/"), {"by_hand": "1", "position": "chain", "fate": "scrapped", "old_serial": "k24000"}
    )
    assert workshop.card.swaps.get().new_component is None


def test_a_planned_swap_can_be_taken_back(workshop, mechanic):
    make.SwapFactory(card=workshop.card, position="battery")
    mechanic.post(at(workshop, "bench/"), {"unswap": "battery"})
    assert not workshop.card.swaps.exists()


# Findings


def test_a_failure_is_recorded_with_mode_and_cause(workshop, mechanic):
    values = {
        "component_id": workshop.chain.pk,
        "mode": "wear",
        "cause": "wear",
        "found": "measurement",
        "warranty": "on",
    }
    sent = {f"failure-{name}": value for name, value in values.items()}
    for _ in range(2):
        mechanic.post(at(workshop, "findings/"), sent | {"record": "1"})
    row = workshop.card.failures.get()
    assert (row.mode, row.warranty) == ("wear", True)
    assert "worn out, cause: expected wear" in mechanic.get(at(workshop, "findings/")).content.decode()


def test_the_modes_offered_are_those_of_the_kind_of_part(workshop, mechanic):
    page = mechanic.get(at(workshop, f"findings/?failed={workshop.shock.pk}")).content.decode()
    assert 'value="leakage"' in page
    assert 'value="software"' not in page


def test_a_failure_without_a_mode_is_asked_for_it_in_place(workshop, mechanic):
    answer = mechanic.post(at(workshop, "findings/"), {"failure-component_id": workshop.chain.pk, "record": "1"})
    assert answer.status_code == 422
    assert answer.context["failure"]["mode"].errors
    assert not workshop.card.failures.exists()


def test_choosing_the_part_that_failed_keeps_the_words(workshop, mechanic):
    sent = {"cause": "dry chain", "base-cause": "", "failed": str(workshop.chain.pk)}
    answer = mechanic.post(at(workshop, "findings/"), sent)
    assert answer["Location"] == at(workshop, f"findings/?failed={workshop.chain.pk}#failure")
    assert fresh(workshop).cause == "dry chain"


def test_minutes_that_are_none_are_refused_beside_the_field(workshop, mechanic):
    answer = mechanic.post(at(workshop, "findings/"), {"minutes": "an hour", "base-minutes": "", "cause": "dry"})
    assert answer.status_code == 422
    assert "Write a whole number." in str(answer.context["words"]["minutes"].errors)
    assert fresh(workshop).cause == "dry"


# Signing


def test_signing_asks_for_the_password_again(workshop, mechanic):
    answer = mechanic.post(at(workshop, "sign/"), {"password": "wrong", "version": 1})
    assert answer.status_code == 422
    assert "This is not your password." in str(answer.context["form"]["password"].errors)
    assert fresh(workshop).state == "draft"


def test_signing_with_nothing_typed_asks_for_it(workshop, mechanic):
    answer = mechanic.post(at(workshop, "sign/"), {"version": 1})
    assert answer.status_code == 422
    assert answer.context["form"]["password"].errors


def test_a_card_without_an_odometer_is_not_signed_and_says_what_is_missing(workshop, mechanic):
    assert "Odometer missing." in mechanic.get(at(workshop, "sign/")).content.decode()
    answer = mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": 1})
    assert "The odometer is missing. Enter what the display shows." in answer.content.decode()


def test_a_card_somebody_changed_meanwhile_is_not_signed_unseen(workshop, mechanic):
    JobCard.objects.filter(pk=workshop.card.pk).update(version=5, cause="new words")
    answer = mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": 1})
    assert answer.status_code == 409
    assert "new words" in answer.content.decode()


@pytest.fixture
def signed(workshop, mechanic):
    mechanic.post(at(workshop, "intake/"), {"value": "2100", "unit": "km"})
    mechanic.post(at(workshop, "bench/"), outcome(workshop.chain, "chain_check"))
    mechanic.post(at(workshop, "sign/"), {"password": PASSWORD, "version": fresh(workshop).version})
    assert fresh(workshop).state == "signed"
    return workshop


def test_a_signed_card_has_no_forms_but_the_amendment(signed, mechanic):
    page = mechanic.get(at(signed)).content.decode()
    sending = page.count('method="post"')
    assert sending == 2 + page.count("data-beside")  # log out, amend
    assert at(signed, "amend/") in page


@pytest.mark.parametrize("step", ["intake", "tasks", "bench", "findings"])
def test_a_signed_card_takes_nothing_more_and_says_what_to_do(signed, mechanic, step):
    answer = mechanic.post(at(signed, f"{step}/"), {"cause": "too late", "value": "2200", "unit": "km", "find": "wash"})
    assert answer.status_code == 409
    assert "Write an amendment." in answer.content.decode()
    card = fresh(signed)
    assert (card.cause, float(card.reading.value), card.tasks.count()) == ("", 2100, 1)


@pytest.mark.parametrize("step", ["intake", "tasks", "bench", "findings"])
def test_a_step_of_a_signed_card_leads_to_its_record(signed, mechanic, step):
    assert mechanic.get(at(signed, f"{step}/"))["Location"] == at(signed)


def test_an_amendment_stands_above_the_signed_card(signed, mechanic):
    mechanic.post(at(signed, "amend/"), {"text": "It was the left one."})
    assert "It was the left one." in mechanic.get(at(signed)).content.decode()


def test_the_service_desk_sees_a_signed_card_without_the_amendment_box(signed, desk):
    assert at(signed, "amend/") not in desk.get(at(signed)).content.decode()


def test_signing_twice_is_refused(signed, mechanic):
    answer = mechanic.post(at(signed, "sign/"), {"password": PASSWORD, "version": signed.card.version})
    assert answer.status_code == 409


def test_the_same_signature_sent_twice_leads_to_the_signed_card(signed, mechanic):
    again = {"password": PASSWORD, "version": signed.card.version - 1}
    assert mechanic.post(at(signed, "sign/"), again)["Location"] == at(signed)


def test_the_trikes_history_tells_the_card_in_words(signed, desk):
    page = desk.get(f"/trikes/{signed.trike.pk}/").content.decode()
    assert "<b>Done:</b> Chain check (J25-00042)" in page


def test_a_card_is_cancelled_and_says_so(workshop, desk):
    desk.post(at(workshop, "cancel/"), {"version": 1})
    assert fresh(workshop).state == "cancelled"


def test_a_card_somebody_changed_meanwhile_is_not_cancelled_unseen(workshop, desk):
    answer = desk.post(at(workshop, "cancel/"), {"version": 7}, follow=True)
    assert "Somebody changed the card meanwhile" in answer.content.decode()
    assert fresh(workshop).state == "draft"


@pytest.mark.parametrize("step", ["intake", "tasks", "bench", "findings", "sign"])
def test_a_reviewer_looks_at_every_step_and_finds_nothing_to_press(workshop, reviewer, step):
    page = reviewer.get(at(workshop, f"{step}/")).content.decode()
    main = page[page.index("<main") : page.index("</main>")]
    assert '<button class="main-act' not in main
    assert '<fieldset class="plain" disabled>' in main or step == "sign"


@pytest.mark.parametrize("step", ["intake", "tasks", "bench", "findings", "sign"])
def test_a_step_costs_the_same_queries_with_2_tasks_and_22(workshop, mechanic, assert_flat_queries, step):
    def grow() -> None:
        for number in range(20):
            part = make.ComponentFactory(serial=f"T{number}", part_type=workshop.chain.part_type)
            make.JobTaskFactory(card=workshop.card, component=part)
            make.MeasurementFactory(card=workshop.card, component=part)
            make.FailureFactory(card=workshop.card, component=part, trike=workshop.trike)
            make.DueLineFactory(trike=workshop.trike, component=part, facts=line.facts)

    line = due(workshop.trike, workshop.chain)
    make.MeasurementFactory(card=workshop.card, component=workshop.chain)
    make.FailureFactory(card=workshop.card, component=workshop.chain, trike=workshop.trike)
    make.SwapFactory(card=workshop.card, position="chain", old_component=workshop.chain, fate="scrapped")
    assert_flat_queries(lambda: mechanic.get(at(workshop, f"{step}/")), grow)
