"""What the job card's script asks and sends while somebody types: a word on a value, one field kept, who was faster."""

import json

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.pages.conftest import logged_in
from tests.pages.test_job_card import at, fresh


def keep(client, workshop, section: str, field: str, value, base: str = ""):
    """Send one field as the script does."""
    sent = {"section": section, "field": field, "base": base}
    return client.post(at(workshop, "save/"), sent | {"value": json.dumps(value) if isinstance(value, dict) else value})


def chain_value(workshop) -> str:
    return f"{workshop.chain.pk}:chain_elongation_pct"


@pytest.mark.parametrize(("field", "value"), [("complaint", "It squeaks."), ("cause", "dry"), ("correction", "oiled")])
def test_words_are_kept_as_typed_and_the_answer_is_the_new_base(workshop, mechanic, field, value):
    answer = keep(mechanic, workshop, "words", field, value)
    assert (answer.status_code, answer.json()) == (200, {"base": value})
    assert getattr(fresh(workshop), field) == value


def test_a_field_sent_twice_is_kept_once(workshop, mechanic):
    for _ in range(2):
        assert keep(mechanic, workshop, "words", "cause", "dry").status_code == 200
    assert fresh(workshop).version == 2


def test_a_field_somebody_else_wrote_is_answered_with_their_text_and_name(workshop, mechanic):
    other = logged_in("mechanic", "sunniva")
    keep(other, workshop, "words", "cause", "theirs")
    answer = keep(mechanic, workshop, "words", "cause", "mine")
    assert answer.status_code == 409
    assert answer.json()["theirs"] == "theirs"
    assert answer.json()["by"].startswith("Person")
    assert keep(mechanic, workshop, "words", "cause", "mine", base="theirs").status_code == 200
    assert fresh(workshop).cause == "mine"


def test_the_own_other_window_is_called_so(workshop, mechanic):
    keep(mechanic, workshop, "words", "cause", "first")
    assert keep(mechanic, workshop, "words", "cause", "second").json()["by"] == "You, in another window,"


def test_a_tick_is_kept_with_what_the_steps_then_need(workshop, mechanic):
    answer = keep(mechanic, workshop, "task", f"{workshop.chain.pk}:chain_check:outcome", "deferred", "proposed")
    assert answer.json()["steps"]["tasks"] == ["proposed", "nothing ticked"]
    assert workshop.card.tasks.get().outcome == "deferred"


def test_a_note_and_a_reason_are_kept(workshop, mechanic):
    make.SwapFactory(card=workshop.card, position="chain", old_component=workshop.chain, fate="scrapped")
    keep(mechanic, workshop, "task", f"{workshop.chain.pk}:chain_check:note", "next time")
    keep(mechanic, workshop, "swap", "chain:reason", "worn")
    keep(mechanic, workshop, "swap", "chain:fate", "returned", "scrapped")
    swap = workshop.card.swaps.get()
    assert (workshop.card.tasks.get().note, swap.reason, swap.fate) == ("next time", "worn", "returned")


def test_a_measurement_is_kept_with_its_verdict(workshop, mechanic):
    answer = keep(mechanic, workshop, "measure", chain_value(workshop), {"value": "0.62", "instrument": "rule"})
    told = answer.json()
    assert (told["base"], told["level"]) == ("0.62 %, rule", "soon")
    assert told["words"] == "0.62 % - replace soon: limit 0.75 %."
    answer = keep(mechanic, workshop, "measure", chain_value(workshop), {"value": ""}, told["base"])
    assert answer.json()["base"] == ""
    assert not workshop.card.measurements.exists()


def test_a_measurement_somebody_else_took_is_answered_with_theirs(workshop, mechanic):
    keep(logged_in("mechanic", "sunniva"), workshop, "measure", chain_value(workshop), {"value": "0.3"})
    answer = keep(mechanic, workshop, "measure", chain_value(workshop), {"value": "0.8"})
    assert (answer.status_code, answer.json()["theirs"]) == (409, "0.3 %")
    assert workshop.card.measurements.get().value == 0.3


@pytest.mark.parametrize("typed", ["40", "many"])
def test_an_impossible_value_is_refused_in_words_and_not_kept(workshop, mechanic, typed):
    answer = keep(mechanic, workshop, "measure", chain_value(workshop), {"value": typed})
    assert answer.status_code == 422
    assert answer.json()["said"]
    assert not workshop.card.measurements.exists()


@pytest.mark.parametrize(
    ("section", "field"),
    [("words", "number"), ("words", ""), ("task", "1:2:3"), ("task", "x:y:note"), ("swap", "chain:fate"), ("measure", "1:x"),
     ("card", "state"), ("", "")],
)  # fmt: skip
def test_what_is_not_on_the_card_is_refused_and_changes_nothing(workshop, mechanic, section, field):
    answer = keep(mechanic, workshop, section, field, "x")
    assert answer.status_code == 422
    assert fresh(workshop).version == 1


def test_text_that_cannot_be_kept_is_refused(workshop, mechanic):
    answer = keep(mechanic, workshop, "words", "cause", "x" * 10_001)
    assert answer.status_code == 422
    assert "10,000 fit" in answer.json()["said"]


def test_a_closed_card_takes_no_field(workshop, mechanic):
    workshop.card.state = "cancelled"
    workshop.card.save()
    assert keep(mechanic, workshop, "words", "cause", "late").status_code == 410
    assert fresh(workshop).cause == ""


def test_reviewers_and_strangers_send_no_field(workshop, reviewer, client):
    assert keep(reviewer, workshop, "words", "cause", "x").status_code == 403
    assert keep(client, workshop, "words", "cause", "x")["Location"].startswith("/login/")


# A word while typing


def test_a_value_is_judged_while_it_is_typed_and_nothing_is_kept(workshop, mechanic):
    answer = mechanic.get(at(workshop, "judge/"), {"measure": chain_value(workshop), "value": "0.62"})
    assert answer.json() == {"level": "soon", "words": "0.62 % - replace soon: limit 0.75 %."}
    assert not workshop.card.measurements.exists()


def test_a_pressure_is_judged_in_its_unit_against_what_was_set_at_the_handover(workshop, mechanic):
    make.HandoverFactory(trike=workshop.trike, shock_pressure_kpa=1200)
    make.JobTaskFactory(card=workshop.card, component=workshop.shock, task="shock_air_check")
    asked = {"measure": f"{workshop.shock.pk}:shock_pressure", "value": "9", "unit": "bar"}
    assert mechanic.get(at(workshop, "judge/"), asked).json()["field"] == "temperature_c"
    assert mechanic.get(at(workshop, "judge/"), asked | {"temperature_c": "20"}).json()["level"] == "watch"


@pytest.mark.parametrize("asked", [{"value": "40"}, {"value": "many"}, {}, {"measure": "1:x", "value": "1"}])
def test_what_cannot_be_judged_says_why(workshop, mechanic, asked):
    answer = mechanic.get(at(workshop, "judge/"), {"measure": chain_value(workshop)} | asked)
    assert answer.status_code == 422
    assert answer.json()["said"]


@pytest.mark.parametrize(
    ("typed", "level", "words"),
    [
        ({"value": "2150", "unit": "km"}, "ok", "Inside what is expected"),
        ({"value": "3500", "unit": "km"}, "suspect", "Looks like kilometres. Please read again"),
        ({"value": "1310", "unit": "km"}, "suspect", "Looks like miles. "),
        ({"value": "-3", "unit": "km"}, "bad", ""),
    ],
)
def test_a_word_on_the_odometer_while_it_is_typed(workshop, mechanic, typed, level, words):
    make.OdometerReadingFactory(trike=workshop.trike, value=950, read_at=NOW.replace(year=2025, month=10))
    told = mechanic.get(at(workshop, "odometer-word/"), typed).json()
    assert told["level"] == level
    assert words in told["words"]


def test_no_word_is_said_on_what_is_no_number(workshop, mechanic):
    assert mechanic.get(at(workshop, "odometer-word/"), {"value": "many", "unit": "km"}).status_code == 422
    assert not workshop.trike.readings.filter(recorded_at__gte=NOW).exists()


def test_who_was_logged_out_comes_back_to_the_page_the_form_was_on(workshop, client):
    page = f"http://testserver{at(workshop, 'sign/')}"
    answer = client.post(at(workshop, "cancel/"), {"version": 1}, headers={"Referer": page})
    assert answer["Location"] == f"/login/?next={at(workshop, 'sign/')}"
    answer = client.post(at(workshop, "cancel/"), {"version": 1}, headers={"Referer": "http://evil.example.com/x/"})
    assert answer["Location"] == f"/login/?next={at(workshop, 'cancel/')}"
