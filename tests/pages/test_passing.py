"""Another owner, stolen, found, retired: the pages, what they say first, and what they refuse beside the field."""

import pytest

from tests import factories as make
from tests.pages.conftest import due, logged_in
from tracker.models import Component, Fitment, OdometerReading, Owner, Trike

PAGES = ("owner", "stolen", "retire")


@pytest.fixture
def buyer(db) -> Owner:
    return make.OwnerFactory(name="Ida Vale", search_name="ida vale", reminders_agreed=False, agreed_at=None)


@pytest.fixture
def trike(workshop) -> Trike:
    workshop.card.delete()
    return workshop.trike


def transfer(trike: Trike, owner: Owner, **typed):
    return {"owner_id": owner.pk, "version": trike.version, "since": "2026-04-30", "reading": "", "unit": "km",
            "agreed_source": ""} | typed  # fmt: skip


def retirement(trike: Trike, **typed):
    values = {"version": trike.version, "reason": "frame cracked", "at": "2026-05-01T10:30"}
    values |= {f"fate_{f.component_id}": "scrapped" for f in Fitment.objects.current().filter(trike=trike)}
    return values | typed


def send(client, trike: Trike, page: str, values: dict, query: str = ""):
    return client.post(f"/trikes/{trike.pk}/{page}/{query}", values)


# Another owner


def test_the_new_owner_is_found_first_and_then_the_transfer_opens_with_what_it_does(trike, buyer, desk):
    page = desk.get(f"/trikes/{trike.pk}/owner/?find=vale").content.decode()
    assert f'href="?owner={buyer.pk}"' in page
    assert "What will happen" not in page
    page = desk.get(f"/trikes/{trike.pk}/owner/?owner={buyer.pk}").content.decode()
    assert page.index("What will happen") < page.index("Pass it on to Ida Vale")
    assert "Zoë Ångström’s ownership ends that day" in page


def test_a_new_owner_is_added_on_the_way_and_comes_back_chosen(trike, desk):
    page = desk.get(f"/trikes/{trike.pk}/owner/").content.decode()
    assert f"/owners/new/?next=/trikes/{trike.pk}/owner/" in page
    values = {"name": "New", "time_zone": "Europe/London", "distance_unit": "km", "pressure_unit": "bar"}
    answer = desk.post(f"/owners/new/?next=/trikes/{trike.pk}/owner/", values)
    assert answer["Location"] == f"/trikes/{trike.pk}/owner/?owner={Owner.objects.get(name='New').pk}"


def test_a_trike_passes_on_with_reading_and_consent(trike, buyer, desk):
    values = transfer(trike, buyer, reading="2030", agreed="on", agreed_source="by telephone")
    answer = send(desk, trike, "owner", values, f"?owner={buyer.pk}")
    assert answer["Location"] == f"/trikes/{trike.pk}/"
    page = desk.get(answer["Location"]).content.decode()
    assert "Ida Vale" in page
    assert "another owner since 30 Apr 2026" in page
    assert OdometerReading.objects.filter(value=2030, verdict="accepted").exists()
    buyer.refresh_from_db()
    assert buyer.agreed_source == "by telephone"


def test_a_day_in_the_future_is_refused_beside_it_and_what_was_typed_stays(trike, buyer, desk):
    values = transfer(trike, buyer, since="2026-05-09", reading="2030", agreed="on", agreed_source="by telephone")
    answer = send(desk, trike, "owner", values, f"?owner={buyer.pk}")
    assert answer.status_code == 422
    assert "future" in answer.context["form"].errors["since"][0]
    page = answer.content.decode()
    assert 'value="2030"' in page
    assert 'value="by telephone"' in page


def test_an_unlikely_reading_is_asked_about_beside_it(trike, buyer, desk):
    values = transfer(trike, buyer, since="2026-05-01", reading="3500")
    answer = send(desk, trike, "owner", values, f"?owner={buyer.pk}")
    assert answer.status_code == 409
    assert "3,500 km is right" in answer.content.decode()
    confirmed = values | {"confirmed": "3500.000 km", "meant": "accept"}
    assert send(desk, trike, "owner", confirmed, f"?owner={buyer.pk}").status_code == 302


def test_the_same_owner_is_refused_in_words(trike, desk, workshop):
    answer = send(desk, trike, "owner", transfer(trike, workshop.owner), f"?owner={workshop.owner.pk}")
    assert answer.status_code == 409
    assert "theirs already" in answer.content.decode()


def test_a_second_click_changes_nothing_more(trike, buyer, desk):
    values = transfer(trike, buyer)
    send(desk, trike, "owner", values, f"?owner={buyer.pk}")
    answer = send(desk, trike, "owner", values, f"?owner={buyer.pk}")
    assert answer.status_code == 409
    assert trike.ownerships.count() == 2


@pytest.mark.parametrize("owner", ["abc", "99999999999999999999", "987654"])
def test_an_owner_that_is_none_opens_no_transfer(trike, desk, owner):
    answer = desk.get(f"/trikes/{trike.pk}/owner/?owner={owner}")
    assert answer.status_code == 200
    assert b"Pass it on" not in answer.content


# Stolen and found


def test_a_stolen_trike_says_so_on_its_pages_and_in_the_lists(trike, workshop, desk):
    due(trike, workshop.chain)
    card = make.JobCardFactory(trike=trike)
    values = {"doing": "report", "version": trike.version, "on": "2026-04-29", "note": "report 4711"}
    assert send(desk, trike, "stolen", values)["Location"] == f"/trikes/{trike.pk}/"
    for page in ("", "change/", "reading/", "report/", "display/", "owner/", "retire/", "stolen/"):
        text = desk.get(f"/trikes/{trike.pk}/{page}").content.decode()
        assert "Reported stolen" in text, page
        assert "report 4711" in text, page
    assert "Reported stolen" in desk.get(f"/jobs/{card.pk}/", follow=True).content.decode()
    for page in ("/trikes/", "/due/?window=all", "/jobs/", f"/owners/{workshop.owner.pk}/"):
        assert '<span class="status stop">stolen</span>' in desk.get(page).content.decode(), page


def test_a_trike_found_again_carries_no_mark(trike, desk):
    Trike.objects.update(stolen_on="2026-04-20", stolen_note="report 4711")
    assert b"It is back" in desk.get(f"/trikes/{trike.pk}/stolen/").content
    values = {"doing": "find", "version": trike.version, "on": "2026-04-30", "note": ""}
    assert send(desk, trike, "stolen", values).status_code == 302
    page = desk.get(f"/trikes/{trike.pk}/").content.decode()
    assert "Reported stolen" not in page
    assert "on 30 Apr 2026, gone since 20 Apr 2026" in page


def test_a_theft_in_the_future_is_refused_beside_the_field(trike, desk):
    answer = send(
        desk, trike, "stolen", {"doing": "report", "version": trike.version, "on": "2026-05-09", "note": "report 4711"}
    )
    assert answer.status_code == 422
    assert answer.context["form"].errors["on"]
    assert b"report 4711" in answer.content


def test_of_two_who_report_it_the_second_is_told(trike, desk, mechanic):
    values = {"doing": "report", "version": trike.version, "on": "2026-04-29", "note": ""}
    send(desk, trike, "stolen", values)
    answer = send(mechanic, trike, "stolen", values)
    assert answer.status_code == 409
    assert b"Somebody else" in answer.content


# Retired


def test_every_part_is_asked_about_and_goes_where_it_was_said(trike, workshop, desk):
    page = desk.get(f"/trikes/{trike.pk}/retire/").content.decode()
    assert page.count("<select") == 3
    assert page.index("There is no undo") < page.index("Retire trike F26-1040</button>")
    values = retirement(trike, **{f"fate_{workshop.shock.pk}": "in_stock"})
    assert send(desk, trike, "retire", values)["Location"] == f"/trikes/{trike.pk}/"
    assert Component.objects.get(pk=workshop.shock.pk).state == "in_stock"
    assert Component.objects.get(pk=workshop.chain.pk).state == "scrapped"
    page = desk.get(f"/trikes/{trike.pk}/").content.decode()
    assert "<b>Retired</b> on 1 May 2026: frame cracked" in page


def test_without_a_reason_it_stays_and_the_choices_are_kept(trike, workshop, desk):
    values = retirement(trike, reason="", **{f"fate_{workshop.shock.pk}": "quarantined"})
    answer = send(desk, trike, "retire", values)
    assert answer.status_code == 422
    assert answer.context["form"].errors["reason"]
    assert '<option value="quarantined" selected>' in answer.content.decode()


def test_the_future_and_a_part_fitted_later_are_refused_beside_the_moment(trike, desk):
    for at, told in (("2026-05-02T10:00", "future"), ("2025-04-01T10:00", "was fitted on")):
        answer = send(desk, trike, "retire", retirement(trike, at=at))
        assert answer.status_code == 422
        assert told in answer.context["form"].errors["at"][0]


def test_an_open_job_card_keeps_the_trike_in_service(workshop, desk):
    answer = send(desk, workshop.trike, "retire", retirement(workshop.trike))
    assert answer.status_code == 409
    assert workshop.card.number in answer.content.decode()


def test_a_part_that_was_fitted_meanwhile_is_asked_about(trike, desk):
    values = retirement(trike)
    part = make.ComponentFactory(part_type__kind="battery", state="fitted")
    make.FitmentFactory(component=part, trike=trike, position="battery")
    answer = send(desk, trike, "retire", values)
    assert answer.status_code == 422
    assert answer.context["form"].errors[f"fate_{part.pk}"]


def test_a_retired_trike_has_no_form(trike, desk):
    send(desk, trike, "retire", retirement(trike))
    assert b"It is retired already" in desk.get(f"/trikes/{trike.pk}/retire/").content


# Who may


@pytest.mark.parametrize("page", PAGES)
def test_reviewers_do_not_find_these_pages(trike, page):
    client = logged_in("reviewer")
    assert client.get(f"/trikes/{trike.pk}/{page}/").status_code == 404
    assert send(client, trike, page, {}).status_code == 404


def test_the_banner_escapes_what_was_typed(trike, desk):
    Trike.objects.update(stolen_on="2026-04-20", stolen_note="<script>alert(1)</script>")
    page = desk.get(f"/trikes/{trike.pk}/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
