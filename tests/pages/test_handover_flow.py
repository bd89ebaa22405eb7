"""The handover's pages: down the list, unknown and other parts, owner and consent, the set-up proposed, refusals in place."""

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.pages.conftest import PASSWORD, carry
from tracker.actions.build_lists import Line, add_build_list
from tracker.models import Component, Fitment, Handover, LogEntry, Owner
from tracker.pages.log_words import told

SHOCK = {"max_kpa": 1725, "stroke_mm": 38, "start_table": [[75, 950], [95, 1130], [115, 1320]]}


@pytest.fixture
def usual(db):
    return make.PartTypeFactory(kind="chain", name="Nine-speed chain")


@pytest.fixture
def trike(usual):
    add_build_list(
        model="Fenwalk", lines=[Line("chain", usual.pk), Line("seat"), Line("rack", None, False)], by=None, now=NOW
    )
    return make.TrikeFactory(model="Fenwalk", state="in_build", delivered_on=None)


def parts(client, trike, query: str = "", **values):
    address = f"/handover/{trike.pk}/parts/{query}"
    return client.post(address, values) if values else client.get(address)


def final(client, trike, owner, **values):
    given = {f"check_{index}": "yes" for index in range(14)} | {
        "owner_id": owner.pk, "reading_km": "1", "handed_over_on": "2026-05-01", "pressure_unit": "bar",
        "password": PASSWORD,
    }  # fmt: skip
    return client.post(f"/handover/{trike.pk}/final/?owner={owner.pk}", given | values)


def test_the_first_required_position_stands_ready_with_its_usual_part(mechanic, trike):
    page = parts(mechanic, trike)
    told = page.content.decode()
    assert page.context["form"]["position"].value() == "chain"
    assert "2 of 2 required still missing" in told
    assert "<b>next</b>: Nine-speed chain" in told
    assert told.count('due">missing</span>') == 1  # the seat; the rack is optional
    assert "autofocus" in told


def test_after_a_scan_the_next_position_of_the_list_stands_ready(mechanic, trike, usual):
    make.ComponentFactory(part_type=usual, serial="K1")
    answer = parts(mechanic, trike, position="chain", serial="k1")
    assert answer["Location"] == f"/handover/{trike.pk}/parts/?position=seat"
    make.ComponentFactory(part_type__kind="seat_mesh", serial="S1")
    answer = parts(mechanic, trike, position="seat", serial="S1")
    assert answer["Location"].endswith("?position=rack")


def test_another_part_type_is_asked_about_not_refused(mechanic, trike):
    make.ComponentFactory(part_type__kind="chain", part_type__name="Ten-speed chain", serial="K10")
    answer = parts(mechanic, trike, position="chain", serial="K10")
    told = answer.content.decode()
    assert answer.status_code == 409
    assert "The list has Nine-speed chain" in told
    assert "Fit it all the same" in told
    assert not Fitment.objects.exists()
    assert parts(mechanic, trike, position="chain", serial="K10", all_the_same="on").status_code == 302
    assert "the list has Nine-speed chain" in parts(mechanic, trike).content.decode()


def test_an_unknown_serial_is_offered_to_stock_with_the_lists_part_chosen(mechanic, trike, usual):
    answer = parts(mechanic, trike, position="chain", serial="new-7")
    form = answer.context["stock"]
    assert answer.status_code == 422
    assert (form["part_type_id"].value(), form["serial"].value()) == (usual.pk, "new-7")
    answer = parts(mechanic, trike, position="chain", serial="new-7", part_type_id=usual.pk, batch="B1", made_on="")
    assert answer["Location"].endswith("?position=seat")
    assert Component.objects.get(serial="NEW-7").state == "fitted"


@pytest.mark.parametrize(
    ("values", "field"),
    [({"part_type_id": ""}, "part_type_id"), ({"made_on": "2027-01-01"}, "made_on"), ({"serial": "K\u200b"}, "serial"),
     ({"serial": "TAKEN"}, "serial")],
)  # fmt: skip
def test_a_stock_form_is_refused_in_place_with_the_rest_kept(mechanic, trike, usual, values, field):
    make.ComponentFactory(serial="TAKEN")
    given = {"position": "chain", "serial": "NEW-7", "part_type_id": usual.pk, "batch": "B-kept", "made_on": ""}
    answer = parts(mechanic, trike, **(given | values))
    assert answer.status_code in {400, 409, 422}
    assert answer.context["stock"].errors[field]
    assert "B-kept" in answer.content.decode()
    assert not Fitment.objects.exists()


def test_a_position_that_is_none_breaks_nothing(mechanic, trike, usual):
    answer = parts(mechanic, trike, position="roof", serial="NEW-7", part_type_id=usual.pk)
    assert answer.status_code == 422


def test_a_part_scanned_by_mistake_is_taken_off_again(mechanic, trike, usual):
    component = make.ComponentFactory(part_type=usual, state="fitted")
    fitment = make.FitmentFactory(trike=trike, component=component, position="chain")
    assert parts(mechanic, trike, take_off=fitment.pk)["Location"].endswith("?position=chain")
    component.refresh_from_db()
    assert component.state == "in_stock"
    assert parts(mechanic, trike, take_off="x").status_code == 404


def test_a_handed_over_trike_is_not_built_on(mechanic, trike):
    make.HandoverFactory(trike=trike)
    assert b"Later work goes on a job card" in parts(mechanic, trike).content
    make.ComponentFactory(serial="K1")
    assert parts(mechanic, trike, position="chain", serial="K1").status_code == 409


def test_a_new_owner_is_added_in_place_with_zone_units_and_consent(mechanic, trike):
    values = {
        "name": "Zoë", "email": "zoe@example.org", "phone": "", "time_zone": "Europe/Berlin", "distance_unit": "mi",
        "pressure_unit": "psi", "reminders_agreed": "on", "agreed_source": "at handover",
    }  # fmt: skip
    answer = mechanic.post(f"/handover/{trike.pk}/owner/", values)
    owner = Owner.objects.get()
    assert answer["Location"] == f"/handover/{trike.pk}/final/?owner={owner.pk}"
    assert (owner.agreed_at, owner.agreed_source, owner.pressure_unit) == (NOW, "at handover", "psi")


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [("email", "nobody", "no e-mail address"), ("time_zone", "Mars/Base", "no time zone"), ("name", " ", "required")],
)
def test_a_new_owner_is_refused_in_place_with_the_rest_kept(mechanic, trike, field, typed, said):
    values = {"name": "Zoë", "email": "", "time_zone": "Europe/Berlin", "distance_unit": "km", "pressure_unit": "bar"}
    answer = mechanic.post(f"/handover/{trike.pk}/owner/", values | {field: typed, "phone": "020 7946 0311"})
    assert answer.status_code == 422
    assert said in str(answer.context["adding"].errors[field])
    assert "020 7946 0311" in answer.content.decode()


def test_an_owner_on_record_says_yes_in_the_flow_with_time_and_source(mechanic, trike):
    owner = make.OwnerFactory(reminders_agreed=False, agreed_at=None, agreed_source="")
    address = f"/handover/{trike.pk}/owner/?owner={owner.pk}"
    assert b"not agreed: nothing but safety notices" in mechanic.get(address).content
    assert mechanic.post(address, {"agreed_source": "", "version": 1}).status_code == 422
    mechanic.post(address, {"agreed_source": "at handover", "version": 1})
    owner.refresh_from_db()
    assert (owner.reminders_agreed, owner.agreed_at, owner.agreed_source) == (True, NOW, "at handover")
    assert b"agreed on" in mechanic.get(address).content
    assert mechanic.post(address, {"agreed_source": "again", "version": 1}).status_code == 409


@pytest.mark.parametrize("owner", ["", "x", "987654", "9" * 80])
def test_without_an_owner_the_final_check_sends_back_to_the_owner(mechanic, trike, owner):
    page = mechanic.get(f"/handover/{trike.pk}/final/?owner={owner}")
    assert b"Choose the owner first" in page.content


def test_the_proposal_is_drawn_for_what_was_typed(mechanic, trike):
    shock = carry(trike, "air_shock", "rear-shock", "S9")
    shock.part_type.rated = SHOCK
    shock.part_type.save()
    typed = {"rider_mass_kg": "70", "luggage_kg": "5", "trike_mass_kg": "20", "sag_mm": "9.5", "shock_pressure": "x"}
    told = mechanic.get(f"/handover/{trike.pk}/setup/", typed).content.decode()
    for words in ("95 kg", "Medium: rider with gear 65 to below 90 kg", "11.3 bar", "25 % of 38 mm - good"):
        assert words in told
    told = mechanic.get(
        f"/handover/{trike.pk}/setup/", {"shock_pressure": "300", "pressure_unit": "psi"}
    ).content.decode()
    assert "Beyond a maker’s limit" in told


def test_without_scripts_a_button_shows_the_proposal_and_signs_nothing(mechanic, trike):
    owner = make.OwnerFactory()
    answer = final(mechanic, trike, owner, look="yes", rider_mass_kg="91", trike_mass_kg="20")
    told = answer.content.decode()
    assert answer.status_code == 200
    assert "111 kg" in told
    assert 'value="91"' in told
    assert not Handover.objects.exists()


def test_missing_parts_are_named_before_the_check_and_must_be_confirmed(mechanic, trike):
    owner = make.OwnerFactory()
    assert "chain, seat" in mechanic.get(f"/handover/{trike.pk}/final/?owner={owner.pk}").content.decode()
    answer = final(mechanic, trike, owner, note="kept words")
    assert answer.status_code == 409
    assert "requires: chain, seat" in str(answer.context["form"].errors["without_missing"])
    assert "kept words" in answer.content.decode()
    assert final(mechanic, trike, owner, without_missing="on").status_code == 302


@pytest.mark.parametrize(
    ("field", "typed"),
    [("rider_mass_kg", "heavy"), ("rider_mass_kg", "300"), ("sag_mm", "-4"), ("shock_pressure", "40"), ("toe_in_mm", "30"),
     ("reading_km", ""), ("handed_over_on", "2026-06-01")],
)  # fmt: skip
def test_a_value_that_cannot_be_is_refused_beside_its_field(mechanic, trike, field, typed):
    answer = final(mechanic, trike, make.OwnerFactory(), without_missing="on", luggage_kg="7", **{field: typed})
    assert answer.status_code == 422
    assert answer.context["form"].errors[field]
    assert 'value="7"' in answer.content.decode()
    assert not Handover.objects.exists()


def test_the_record_shows_what_was_proposed_beside_what_was_set(mechanic, trike):
    make.HandoverFactory(
        trike=trike,
        system_mass_kg=95,
        sag_mm=9.5,
        suggested={"grade_words": "medium: so", "sag_words": "25 % of 38 mm"},
    )
    page = mechanic.get(f"/handover/record/{trike.handover.pk}/").content.decode()
    for words in ("95 kg", "Medium: so", "25 % of 38 mm"):
        assert words in page


def test_the_step_bar_says_where_one_stands(mechanic, trike):
    steps = parts(mechanic, trike).context["steps"]
    assert [(step.title, step.state) for step in steps[:3]] == [
        ("Frame", "done"),
        ("Parts", "here"),
        ("Owner", "later"),
    ]
    assert b'aria-current="step"' in parts(mechanic, trike).content


@pytest.mark.parametrize("page", ["parts", "owner", "final", "setup"])
def test_a_reviewer_has_no_part_in_a_handover(reviewer, trike, page):
    assert reviewer.get(f"/handover/{trike.pk}/{page}/").status_code == 404


def test_a_table_of_a_shock_is_typed_a_row_a_line_and_refused_in_place(reviewer, db):
    values = {"part_number": "A38", "name": "Air shock", "max_kpa": "1725", "stroke_mm": "38", "version": "0"}
    answer = reviewer.post("/part-types/new/?kind=air_shock", values | {"start_table": "75: 950\nheavy"})
    assert answer.status_code == 422
    assert "rows of system mass" in str(answer.context["form"].errors["start_table"])
    assert "75: 950\nheavy" in answer.content.decode()
    answer = reviewer.post("/part-types/new/?kind=air_shock", values | {"start_table": "75: 950\n95 1130"})
    page = reviewer.get(answer["Location"]).content.decode()
    assert "75 kg: 950 kPa; 95 kg: 1130 kPa" in page
    assert "75: 950\n95: 1130" in reviewer.get(f"{answer['Location']}change/").content.decode()


def test_the_logbook_tells_what_a_trike_was_handed_over_without(mechanic, trike):
    final(mechanic, trike, make.OwnerFactory(), without_missing="on")
    entry = LogEntry.objects.get(kind="handover_built")
    assert told(entry)["words"] == "final check of 14 items, all passed; without chain, seat"
