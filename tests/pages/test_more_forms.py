"""The rest of the forms: catalogue, intervals, components, meters, steps of the handover."""

import pytest

from tests import factories as make
from tests.pages.conftest import PASSWORD, person
from tracker.models import PartType, ServiceInterval

CHAIN = {"pitch_mm": "12.7", "links": "299", "limit_pct": "0.75", "drivetrain": "derailleur", "speeds": "9"}


def test_a_part_type_is_added_with_its_rated_values(reviewer, db):
    assert b"What kind of part is it?" in reviewer.get("/part-types/new/").content
    reviewer.post("/part-types/new/?kind=chain", CHAIN | {"part_number": "lf-9", "name": "Long chain", "version": 0})
    row = PartType.objects.get()
    assert (row.part_number, row.rated["limit_pct"], row.rated["speeds"]) == ("LF-9", 0.75, 9)


def test_a_part_type_of_no_kind_is_not_found(reviewer, db):
    assert reviewer.get("/part-types/new/?kind=spaceship").status_code == 404


def test_a_part_type_is_changed_and_a_stale_change_is_shown(reviewer, db):
    row = make.PartTypeFactory()
    values = CHAIN | {"name": "Better chain", "maker": "", "version": row.version}
    assert reviewer.post(f"/part-types/{row.pk}/change/", values).status_code == 302
    row.refresh_from_db()
    assert row.name == "Better chain"
    late = reviewer.post(f"/part-types/{row.pk}/change/", values | {"name": "My chain"})
    assert late.status_code == 409
    assert late.context["form"].conflict == [("Name", "Better chain", "My chain")]


def test_a_part_types_page_shows_rated_values_with_units(desk, db):
    row = make.PartTypeFactory()
    page = desk.get(f"/part-types/{row.pk}/").content.decode()
    assert "12.7 mm" in page


def test_a_part_type_gets_an_interval_of_its_own(reviewer, db):
    row = make.PartTypeFactory()
    values = {"task": "chain_check", "every_km": "800", "rebase": "from_done", "version": 0}
    assert reviewer.post(f"/part-types/{row.pk}/interval/", values).status_code == 302
    interval = ServiceInterval.objects.get()
    assert (interval.part_type, interval.part_kind, interval.every_km) == (row, "chain", 800)


def test_a_whole_kind_of_part_gets_an_interval(reviewer, db):
    assert b"What kind of part is it?" in reviewer.get("/intervals/new/").content
    values = {"task": "chain_check", "every_km": "1500", "rebase": "from_done", "version": 0}
    assert reviewer.post("/intervals/new/?kind=chain", values)["Location"] == "/intervals/?kind=chain"
    interval = ServiceInterval.objects.get()
    assert (interval.part_type, interval.part_kind, interval.every_km) == (None, "chain", 1500)


def test_a_task_that_has_its_interval_is_not_offered_again(reviewer, db):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain")
    offered = dict(reviewer.get("/intervals/new/?kind=chain").context["form"].fields["task"].choices)
    assert "chain_check" not in offered
    assert "chain_clean" in offered


def test_an_interval_of_no_kind_is_not_found(reviewer, db):
    assert reviewer.get("/intervals/new/?kind=spaceship").status_code == 404


def test_an_interval_of_nought_is_refused_beside_its_field(reviewer, db):
    values = {"task": "chain_check", "every_km": "0", "rebase": "from_done", "version": 0}
    answer = reviewer.post("/intervals/new/?kind=chain", values)
    assert answer.status_code == 422
    assert "more than 0" in answer.context["form"].errors["every_km"][0]
    assert not ServiceInterval.objects.exists()


def test_a_stale_interval_is_shown_beside_what_stands(reviewer, db):
    row = make.ServiceIntervalFactory()
    ServiceInterval.objects.filter(pk=row.pk).update(every_km=1200, version=2)
    answer = reviewer.post(f"/intervals/{row.pk}/", {"every_km": "900", "rebase": "from_done", "version": 1})
    assert answer.status_code == 409
    assert ("Distance", 1200.0, 900.0) in answer.context["form"].conflict


def test_the_desk_reads_an_interval_without_a_button(desk, db):
    row = make.ServiceIntervalFactory()
    page = desk.get(f"/intervals/{row.pk}/").content.decode()
    assert "Save the interval" not in page


def test_a_component_is_changed_and_a_stale_change_is_shown(desk, db):
    row = make.ComponentFactory()
    values = {"state": "in_stock", "batch": "B-9", "version": row.version}
    assert desk.post(f"/components/{row.pk}/change/", values)["Location"] == f"/components/{row.pk}/"
    row.refresh_from_db()
    assert row.batch == "B-9"
    assert desk.post(f"/components/{row.pk}/change/", values | {"batch": "B-7"}).status_code == 409


def test_a_meter_is_recorded_and_one_that_goes_back_is_refused(desk, db):
    battery = make.ComponentFactory(part_type__kind="battery")
    values = {"meter": "charge_cycles", "value": "40", "read_at": "2026-04-30T10:00"}
    assert desk.post(f"/components/{battery.pk}/meter/", values).status_code == 302
    back = desk.post(f"/components/{battery.pk}/meter/", values | {"value": "12", "read_at": "2026-05-01T10:00"})
    assert "do not go back" in str(back.context["form"]["value"].errors)


def test_a_component_for_a_handover_leads_back_there(desk, db):
    part_type = make.PartTypeFactory()
    values = {"part_type_id": part_type.pk, "serial": "NEW-1", "life_before_km": "0"}
    answer = desk.post("/components/new/?next=/handover/7/parts/", values)
    assert answer["Location"] == "/handover/7/parts/"
    answer = desk.post("/components/new/?next=https://example.com/handover/", values | {"serial": "NEW-2"})
    assert answer["Location"].startswith("/components/")


def test_an_owner_for_a_handover_leads_back_chosen(desk, db):
    values = {"name": "New", "time_zone": "Europe/London", "distance_unit": "km", "pressure_unit": "bar"}
    answer = desk.post("/owners/new/?next=/handover/7/final/", values)
    assert answer["Location"].startswith("/handover/7/final/?owner=")


@pytest.mark.parametrize("serial", ["X" * 50, "K\u200b1"])
def test_a_serial_that_is_none_is_refused_beside_the_field(mechanic, db, serial):
    answer = mechanic.post("/handover/new/", {"frame_serial": serial})
    assert answer.status_code == 422
    assert answer.context["form"]["frame_serial"].errors


def test_the_final_check_finds_the_owner_first_and_then_opens(mechanic, workshop):
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    page = mechanic.get(f"/handover/{trike.pk}/owner/?find=angstrom").content.decode()
    assert f'href="?owner={workshop.owner.pk}"' in page
    assert "Brakes hold" not in page
    page = mechanic.get(f"/handover/{trike.pk}/final/?owner={workshop.owner.pk}").content.decode()
    assert "Brakes hold and release on all wheels" in page
    assert page.index('class="caution"') < page.index("Brakes hold and release")


def test_a_handover_is_not_signed_with_a_wrong_password(mechanic, workshop):
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    values = {f"check_{index}": "yes" for index in range(14)} | {"owner_id": workshop.owner.pk, "reading_km": "1"}
    values |= {"handed_over_on": "2026-05-01", "pressure_unit": "bar", "password": "wrong"}
    answer = mechanic.post(f"/handover/{trike.pk}/final/?owner={workshop.owner.pk}", values)
    assert "Nothing was signed" in str(answer.context["form"]["password"].errors)


def test_a_second_signature_needs_the_right_password(mechanic, db):
    record = make.HandoverFactory(trike=make.TrikeFactory(state="in_build", delivered_on=None))
    person("desk", "ines")
    answer = mechanic.post(f"/handover/record/{record.pk}/", {"username": "ines", "password": "no"})
    assert "do not belong together" in str(answer.context["form"]["password"].errors)
    answer = mechanic.post(f"/handover/record/{record.pk}/", {"username": "ines", "password": PASSWORD})
    assert answer.status_code == 302


def test_a_file_that_is_too_large_is_refused_beside_the_field(desk, settings, db):
    from django.core.files.uploadedfile import SimpleUploadedFile

    settings.UPLOAD_MAX_BYTES = 10
    answer = desk.post("/imports/", {"file": SimpleUploadedFile("parts.csv", b"x" * 11)})
    assert "larger than 5 MB" in str(answer.context["form"]["file"].errors)
    assert "required" in str(desk.post("/imports/", {}).context["form"]["file"].errors)


def test_confirming_an_unchecked_import_is_refused_in_words(desk, db):
    batch = make.ImportBatchFactory(state="uploaded")
    page = desk.post(f"/imports/{batch.pk}/confirm/", follow=True).content.decode()
    assert '<div class="note stop"' in page


def test_a_failed_import_is_tried_again_by_a_button_while_its_file_is_kept(desk, db):
    batch = make.ImportBatchFactory(state="failed")
    assert "Try again</button>" in desk.get(f"/imports/{batch.pk}/").content.decode()
    page = desk.post(f"/imports/{batch.pk}/try-again/", follow=True)
    assert page.context["batch"].state == "uploaded"


def test_an_import_whose_file_is_gone_offers_no_second_try(desk, db):
    batch = make.ImportBatchFactory(state="failed", content=b"")
    assert "Try again" not in desk.get(f"/imports/{batch.pk}/").content.decode()


def test_retrying_a_message_that_was_sent_is_refused_in_words(desk, workshop):
    message = make.OutboxMessageFactory(trike=workshop.trike, owner=workshop.owner, state="sent")
    page = desk.post(f"/messages/{message.pk}/decide/", {"choice": "retry"}, follow=True).content.decode()
    assert "Only failed ones are sent again." in page
    assert desk.get(f"/messages/{message.pk}/letter/").status_code == 404


def test_ten_wrong_passwords_lock_the_name_with_a_page_of_our_own(client, settings, db):
    settings.AXES_ENABLED = True
    person("desk", "ines")
    for _ in range(10):
        answer = client.post("/login/", {"username": "ines", "password": "wrong"})
    assert answer.status_code in {403, 429}
    assert "Locked for a quarter of an hour" in answer.content.decode()


@pytest.mark.parametrize(
    ("address", "expected"),
    [
        ("/trikes/?state=delivered&q=lt-310", ["F26-1040"]),
        ("/trikes/?state=retired", []),
        ("/trikes/?q=" + "x" * 60, []),
        ("/owners/?q=zoe", ["Zoë Ångström"]),
        ("/owners/?q=nobody", []),
        ("/components/?q=k24", ["K24000"]),
        ("/jobs/?state=draft&q=j25", ["J25-00042"]),
        ("/jobs/?q=angstrom", ["J25-00042"]),
        ("/jobs/?state=signed", []),
    ],
)
def test_lists_are_narrowed_by_their_filters(address, expected, desk, workshop):
    assert [str(row) for row in desk.get(address).context["page"]] == expected


def test_readings_and_messages_are_narrowed_by_trike(desk, workshop):
    make.OdometerReadingFactory()
    make.OutboxMessageFactory(trike=workshop.trike, owner=workshop.owner)
    make.OutboxMessageFactory()
    assert len(desk.get("/readings/?q=f26-1040").context["page"]) == 1
    assert len(desk.get("/messages/?q=f26-1040&state=waiting").context["page"]) == 1
    assert len(desk.get("/intervals/?kind=chain").context["groups"]) == 0
    assert len(desk.get("/part-types/?kind=chain").context["page"]) == 1
