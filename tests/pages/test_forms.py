"""Forms: one action each, refusals beside the field with the remedy, and what was typed stays."""

from datetime import UTC, datetime

import pytest
from django.db import IntegrityError, OperationalError

from tests import factories as make
from tests.pages.conftest import PASSWORD, logged_in, person
from tracker.models import Component, OdometerReading, Owner, PartType, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for

NOW_TYPED = "2026-05-01T10:00"


def test_a_reading_is_kept_and_leads_back_to_the_trike(workshop, desk):
    answer = desk.post(f"/trikes/{workshop.trike.pk}/reading/", {"value": "2150.5", "unit": "km", "read_at": NOW_TYPED})
    assert answer["Location"] == f"/trikes/{workshop.trike.pk}/"
    kept = workshop.trike.readings.get(value="2150.5")
    assert (kept.verdict, kept.source, kept.entered_by.username) == ("accepted", "desk", "the-desk")


def test_a_time_is_read_on_the_workshops_clock(workshop, desk):
    desk.post(f"/trikes/{workshop.trike.pk}/reading/", {"value": "2150", "unit": "km", "read_at": "2026-05-01T10:30"})
    assert workshop.trike.readings.get(value=2150).read_at == datetime(2026, 5, 1, 9, 30, tzinfo=UTC)  # BST


def test_a_doubtful_reading_is_kept_and_shown_with_its_choices(workshop, desk):
    answer = desk.post(f"/trikes/{workshop.trike.pk}/reading/", {"value": "1300", "unit": "km", "read_at": NOW_TYPED})
    reading = workshop.trike.readings.get(value=1300)
    assert (reading.verdict, answer["Location"]) == ("suspect", f"/readings/{reading.pk}/")
    page = desk.get(answer["Location"]).content.decode()
    assert reading.reason.split(".")[0] in page
    assert 'value="reject"' in page


def test_a_choice_decides_a_doubtful_reading_and_leads_back(workshop, desk):
    reading = make.OdometerReadingFactory(trike=workshop.trike, verdict="suspect", value=1300)
    answer = desk.post(f"/readings/{reading.pk}/decide/", {"choice": "reject", "back": "/readings/?verdict=suspect"})
    reading.refresh_from_db()
    assert (reading.verdict, answer["Location"]) == ("rejected", "/readings/?verdict=suspect")


@pytest.mark.parametrize("back", ["https://example.com/", "//example.com/", "javascript:alert(1)", "/\\example.com"])
def test_a_choice_never_leads_away_from_the_service(workshop, desk, back):
    reading = make.OdometerReadingFactory(trike=workshop.trike, verdict="suspect")
    answer = desk.post(f"/readings/{reading.pk}/decide/", {"choice": "accept", "back": back})
    assert answer["Location"] == "/readings/?verdict=suspect"


def test_a_decided_reading_is_not_decided_again(workshop, desk):
    reading = make.OdometerReadingFactory(trike=workshop.trike, verdict="rejected")
    page = desk.post(f"/readings/{reading.pk}/decide/", {"choice": "accept"}, follow=True).content.decode()
    assert "This reading is decided already. Record a new reading instead." in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("3,107", "Write digits with a point for decimals and no commas"),
        ("NaN", "Write digits with a point"),
        ("1e400", "Write digits with a point"),
        ("-4", "km"),
        ("", "This field is required"),
    ],
)
def test_a_number_that_cannot_be_is_refused_beside_its_field_and_kept(workshop, desk, typed, said):
    answer = desk.post(f"/trikes/{workshop.trike.pk}/reading/", {"value": typed, "unit": "km", "read_at": NOW_TYPED})
    assert answer.status_code == 422
    bound = answer.context["form"]["value"]
    assert said in str(bound.errors)
    assert f'value="{typed}"' in answer.content.decode() or not typed
    assert workshop.trike.readings.count() == 1


def test_a_reading_in_the_future_is_refused_beside_the_day(workshop, desk):
    answer = desk.post(
        f"/trikes/{workshop.trike.pk}/reading/", {"value": "2100", "unit": "km", "read_at": "2027-01-01T10:00"}
    )
    assert answer.status_code == 422
    assert OdometerReading.objects.count() == 1


def test_a_crash_is_reported_and_its_check_is_due(workshop, desk):
    values = {"kind": "crash", "happened_at": NOW_TYPED, "note": "kerb"}
    page = desk.post(f"/trikes/{workshop.trike.pk}/report/", values, follow=True).content.decode()
    assert "due before the next ride" in page
    assert workshop.trike.occurrences.get().kind == "crash"
    assert workshop.trike.due_lines.filter(task="after_crash").exists()


def test_the_report_shows_the_battery_caution_before_the_form(workshop, desk):
    page = desk.get(f"/trikes/{workshop.trike.pk}/report/").content.decode()
    assert page.index("do not charge it") < page.index('name="kind"')


def test_a_swapped_display_is_recorded_with_an_unknown_last_value(workshop, desk):
    values = {"changed_at": NOW_TYPED, "old_final_km": "", "new_start_km": "0", "reason": "cracked"}
    desk.post(f"/trikes/{workshop.trike.pk}/display/", values)
    assert workshop.trike.display_changes.get().old_final_km is None


def test_an_owner_is_added_and_found_without_accents(desk):
    values = {"name": "Žofie Malá", "time_zone": "Europe/Prague", "distance_unit": "km", "pressure_unit": "bar"}
    desk.post("/owners/new/", values | {"phone": "020 7946 0999"})
    row = Owner.objects.get()
    assert (row.search_name, row.phone_e164) == ("zofie mala", "+442079460999")


def test_a_bad_address_is_refused_beside_the_field_with_the_remedy_and_the_name_stays(desk):
    values = {"name": "Žofie Malá", "email": "zofie@", "time_zone": "Europe/Prague", "distance_unit": "km"}
    answer = desk.post("/owners/new/", values | {"pressure_unit": "bar"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Enter one address such as name@example.org." in str(answer.context["form"]["email"].errors)
    assert 'value="Žofie Malá"' in page


def test_two_people_changing_one_owner_see_what_stands_and_what_was_typed(workshop, desk):
    owner = workshop.owner
    stale = {"name": owner.name, "email": "mine@example.org", "phone": owner.phone, "time_zone": owner.time_zone}
    stale |= {"distance_unit": "km", "pressure_unit": "bar", "version": owner.version}
    Owner.objects.filter(pk=owner.pk).update(email="theirs@example.org", version=owner.version + 1)
    answer = desk.post(f"/owners/{owner.pk}/change/", stale)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "theirs@example.org" in page
    assert 'value="mine@example.org"' in page
    again = desk.post(f"/owners/{owner.pk}/change/", stale | {"version": answer.context["form"].data["version"]})
    assert again.status_code == 302
    owner.refresh_from_db()
    assert owner.email == "mine@example.org"


def test_a_link_to_the_owners_page_is_shown_once(workshop, desk):
    answer = desk.post(f"/owners/{workshop.owner.pk}/link/{workshop.trike.pk}/")
    assert "/o/" in answer.content.decode()
    assert answer["Cache-Control"] == "no-store"
    assert workshop.owner.links.count() == 1


def test_a_component_with_a_known_serial_is_refused_beside_the_serial(workshop, desk):
    values = {"part_type_id": workshop.chain.part_type_id, "serial": "k24000", "life_before_km": "0"}
    answer = desk.post("/components/new/", values)
    assert answer.status_code == 409
    assert "Search for it to see where it is." in str(answer.context["form"]["serial"].errors)


def test_a_used_component_of_unknown_life_has_no_number(workshop, desk):
    values = {
        "part_type_id": workshop.chain.part_type_id,
        "serial": "USED-1",
        "life_before_km": "0",
        "life_unknown": "on",
    }
    desk.post("/components/new/", values)
    assert Component.objects.get(serial="USED-1").life_before_km is None


def test_a_quarantined_battery_does_not_go_back_to_stock(desk, db):
    battery = make.ComponentFactory(part_type__kind="battery", state="quarantined")
    values = {"state": "in_stock", "version": battery.version}
    answer = desk.post(f"/components/{battery.pk}/change/", values)
    assert "written release" in str(answer.context["form"]["state"].errors)


def test_each_rated_value_is_refused_beside_its_own_field(reviewer, db):
    values = {
        "part_number": "LF-9",
        "name": "Chain",
        "version": 0,
        "pitch_mm": "900",
        "links": "299",
        "limit_pct": "77",
    }
    answer = reviewer.post("/part-types/new/?kind=chain", values | {"drivetrain": "derailleur", "speeds": "9"})
    form = answer.context["form"]
    assert answer.status_code == 422
    assert form["pitch_mm"].errors
    assert form["limit_pct"].errors
    assert not PartType.objects.exists()


def test_an_interval_is_changed_and_its_trikes_wait_for_the_sweep(workshop, reviewer):
    row = make.ServiceIntervalFactory()
    values = {"every_km": "2000", "every_months": "", "rebase": "from_done", "version": row.version}
    reviewer.post(f"/intervals/{row.pk}/", values)
    row.refresh_from_db()
    workshop.trike.refresh_from_db()
    assert (row.every_km, row.every_months, workshop.trike.due_dirty) == (2000, None, True)


def test_an_interval_that_says_nothing_is_refused(reviewer, db):
    row = make.ServiceIntervalFactory()
    answer = reviewer.post(f"/intervals/{row.pk}/", {"rebase": "from_done", "version": row.version})
    assert "Give a distance, time, hours or cycles." in str(answer.context["form"]["every_km"].errors)


def test_a_failed_message_is_sent_again(workshop, desk):
    message = make.OutboxMessageFactory(trike=workshop.trike, owner=workshop.owner, state="failed")
    desk.post(f"/messages/{message.pk}/decide/", {"choice": "retry"})
    message.refresh_from_db()
    assert message.state == "waiting"


@pytest.mark.parametrize(("choice", "state"), [("sent", "sent"), ("send_again", "waiting"), ("drop", "dropped")])
def test_a_person_says_what_became_of_an_unknown_message(workshop, desk, choice, state):
    message = make.OutboxMessageFactory(trike=workshop.trike, owner=workshop.owner, state="unknown")
    desk.post(f"/messages/{message.pk}/decide/", {"choice": choice})
    message.refresh_from_db()
    assert message.state == state


def test_a_kept_mail_opens_as_plain_text(workshop, desk, settings, tmp_path):
    settings.MAIL_FOLDER = tmp_path
    text = "From: a@example.org\r\nSubject: Due\r\nContent-Type: text/plain\r\n\r\n<b>Hello</b>\r\n"
    (tmp_path / "one.eml").write_text(text, newline="")
    message = make.OutboxMessageFactory(trike=workshop.trike, state="sent", file_name="one.eml")
    raw = desk.get(f"/messages/{message.pk}/letter/")
    assert raw["Content-Type"] == "text/plain; charset=utf-8"
    assert raw.content.decode() == text
    assert "&lt;b&gt;Hello&lt;/b&gt;" in desk.get(f"/messages/{message.pk}/").content.decode()


def test_the_kind_of_an_upload_is_guessed_from_its_name(desk, db):
    from django.core.files.uploadedfile import SimpleUploadedFile

    file = SimpleUploadedFile("Odometer November.csv", b"Date,Trike,Reading,Unit,Source,Note\n")
    answer = desk.post("/imports/", {"file": file})
    assert answer.status_code == 302
    page = desk.get(answer["Location"]).content.decode()
    assert "odometer readings" in page
    assert '<meta http-equiv="refresh"' in page


def test_an_upload_of_no_known_kind_asks_for_it_beside_the_field(desk, db):
    from django.core.files.uploadedfile import SimpleUploadedFile

    answer = desk.post("/imports/", {"file": SimpleUploadedFile("x.csv", b"a\n")})
    assert "Choose from the list." in str(answer.context["form"]["kind"].errors)


def test_an_import_with_bad_rows_offers_no_button(desk, db):
    batch = make.ImportBatchFactory(state="checked", rows_total=2, rows_good=1, rows_bad=1)
    make.ImportRowFactory(batch=batch, verdict="bad", field="Trike", message="No such trike.", raw={"Trike": "X"})
    page = desk.get(f"/imports/{batch.pk}/?verdict=bad").content.decode()
    assert "No such trike." in page
    assert "confirm/" not in page


def test_a_checked_import_is_confirmed_by_one_button(desk, db):
    batch = make.ImportBatchFactory(state="checked", rows_total=1, rows_good=1)
    assert f"/imports/{batch.pk}/confirm/" in desk.get(f"/imports/{batch.pk}/").content.decode()
    desk.post(f"/imports/{batch.pk}/confirm/")
    batch.refresh_from_db()
    assert batch.state == "confirmed"


def test_logging_in_leads_to_where_one_was_going(client, db):
    person("desk", "ines")
    answer = client.post("/login/", {"username": "ines", "password": PASSWORD, "next": "/due/"})
    assert answer["Location"] == "/due/"


def test_a_wrong_password_says_so_and_keeps_the_name(client, db):
    person("desk", "ines")
    page = client.post("/login/", {"username": "ines", "password": "wrong"}).content.decode()
    assert "Name or password is wrong." in page
    assert 'value="ines"' in page


def test_logging_out_takes_a_post(desk):
    assert desk.get("/logout/").status_code == 405
    assert desk.post("/logout/")["Location"] == "/login/"


def test_a_trike_goes_from_frame_to_delivered_by_the_pages(db):
    frame = make.ComponentFactory(part_type__kind="frame", serial="F26-9001")
    chain = make.ComponentFactory(part_type__kind="chain", serial="K9001")
    owner = make.OwnerFactory()
    builder = logged_in("mechanic", "tom")
    person("desk", "ines")
    answer = builder.post(
        "/handover/new/", {"frame_serial": frame.serial.lower(), "plate": "LT-900", "model": "Fenrunner"}
    )
    trike = Trike.objects.get()
    assert answer["Location"] == f"/handover/{trike.pk}/parts/"
    answer = builder.post(f"/handover/{trike.pk}/parts/", {"position": "chain", "serial": " k9001 "})
    assert answer["Location"] == f"/handover/{trike.pk}/parts/?position=rear-shock"
    assert chain.fitments.get().position == "chain"
    values = {f"check_{index}": "yes" for index in range(14)} | {"owner_id": owner.pk, "handed_over_on": "2026-05-01"}
    values |= {"reading_km": "12", "shock_pressure": "150", "pressure_unit": "psi", "password": PASSWORD}
    answer = builder.post(f"/handover/{trike.pk}/final/?owner={owner.pk}", values)
    record = trike.handover
    assert answer["Location"] == f"/handover/record/{record.pk}/"
    assert round(record.shock_pressure_kpa) == 1034
    same = builder.post(answer["Location"], {"username": "tom", "password": PASSWORD})
    assert "another person than the builder" in same.content.decode()
    builder.post(answer["Location"], {"username": "ines", "password": PASSWORD})
    trike.refresh_from_db()
    record.refresh_from_db()
    assert (trike.state, record.built_by.username, record.second_by.username) == ("delivered", "tom", "ines")


def test_a_reviewer_does_not_give_the_second_signature(workshop, mechanic):
    record = make.HandoverFactory(trike=make.TrikeFactory(state="in_build", delivered_on=None))
    person("reviewer", "rae")
    answer = mechanic.post(f"/handover/record/{record.pk}/", {"username": "rae", "password": PASSWORD})
    assert "role does not sign" in str(answer.context["form"]["username"].errors)
    record.refresh_from_db()
    assert record.second_by is None


def test_an_unknown_serial_at_the_bench_offers_to_take_it_into_stock(workshop, mechanic):
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    answer = mechanic.post(f"/handover/{trike.pk}/parts/", {"position": "battery", "serial": "B-NEW"})
    assert answer.status_code == 422
    assert "/components/new/?serial=B-NEW" in answer.content.decode()


def test_a_component_that_sits_elsewhere_is_refused_naming_where(workshop, mechanic):
    other = make.TrikeFactory(state="in_build", delivered_on=None)
    answer = mechanic.post(f"/handover/{other.pk}/parts/", {"position": "chain", "serial": "K24000"})
    assert answer.status_code == 409
    assert "sits on trike F26-1040" in str(answer.context["form"]["serial"].errors)


@pytest.mark.parametrize(("error", "status"), [(OperationalError("gone"), 503), (IntegrityError("unique"), 409)])
def test_a_database_that_refuses_or_is_away_keeps_what_was_typed(error, status, caplog):
    class Named(fields.Form):
        name = fields.text("Name", 20)

    def fails(**_values):
        raise error

    form = Named({"name": "Zoë"})
    assert form.is_valid()
    assert carry_out(form, fails, name="Zoë") is None
    assert status_for(form) == status
    assert "Nothing was saved" in str(form.non_field_errors())
    assert form["name"].value() == "Zoë"
