"""The one question beside the field, at the desk, on the job card and on the owner's page; late doubts on the trike page."""

from datetime import timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.reminders.test_owner_page import form_key, link_to

NOW_TYPED = "2026-05-01T11:00"  # BST
TYPED = {"value": "3500", "unit": "km", "read_at": NOW_TYPED}  # about 2,150 km are expected
ASKED = TYPED | {"confirmed": "3500.000 km"}


@pytest.fixture
def form(workshop) -> str:
    """Where a reading of a trike with known ways is typed."""
    make.OdometerReadingFactory(trike=workshop.trike, value=950, read_at=NOW - timedelta(days=190))
    return f"/trikes/{workshop.trike.pk}/reading/"


def test_the_expected_range_stands_beside_the_field(form, desk):
    page = desk.get(form).content.decode()
    assert "Expected now: 2,000 km (last read) to " in page
    assert "most likely 2,1" in page


def test_the_expected_range_is_told_in_the_owners_unit(form, workshop, desk):
    workshop.owner.distance_unit = "mi"
    workshop.owner.save()
    assert "Expected now: 1,243 mi (last read) to " in desk.get(form).content.decode()
    assert "Expected now: 1,243 mi (last read) to " in desk.get(f"/jobs/{workshop.card.pk}/intake/").content.decode()


def test_an_unlikely_reading_comes_back_with_one_question_and_the_other_meaning(form, workshop, desk):
    answer = desk.post(form, TYPED)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Please read again: between " in page
    assert '<button type="submit" name="meant" value="km_as_miles">As kilometres it would be 2,175 km</button>' in page
    assert page.count('name="meant"') == 2
    assert 'name="confirmed" value="3500.000 km"' in page
    assert not workshop.trike.readings.filter(value=3500).exists()


@pytest.mark.parametrize(
    ("pressed", "km"), [({}, 3500), ({"meant": "accept"}, 3500), ({"meant": "km_as_miles"}, 2174.8)]
)
def test_sent_again_it_is_kept_as_the_person_says(form, workshop, desk, pressed, km):
    assert desk.post(form, ASKED | pressed).status_code == 302
    kept = workshop.trike.readings.get(value=3500)
    assert (kept.verdict, kept.reason_code) == ("accepted", "confirmed")
    assert kept.km == pytest.approx(km, abs=0.1)


def test_an_answer_counts_for_the_value_it_was_given_to(form, desk):
    assert desk.post(form, ASKED | {"value": "3490"}).status_code == 409


def test_the_history_says_that_somebody_was_asked(form, workshop, desk):
    desk.post(form, ASKED)
    page = desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()
    assert "3,500 km, accepted; asked, and right as typed: 3,500 km" in page


def test_the_job_card_asks_in_place_and_takes_the_answer(form, workshop, mechanic):
    at = f"/jobs/{workshop.card.pk}/intake/"
    typed = {"value": "3500", "unit": "km"}
    answer = mechanic.post(at, typed)
    assert answer.status_code == 409
    assert 'name="meant" value="km_as_miles"' in answer.content.decode()
    assert mechanic.post(at, typed | {"confirmed": "3500.000 km", "meant": "km_as_miles"}).status_code == 302
    workshop.card.refresh_from_db()
    assert round(workshop.card.reading.km) == 2175


def test_the_owner_is_asked_once_and_may_say_it_is_so(form, workshop, client):
    token = link_to(workshop.trike)
    client.get(f"/o/{token}")
    typed = {"key": form_key(token), "value": "3500", "unit": "km"}
    answer = client.post("/o/reading", typed)
    assert answer.status_code == 409
    assert "Yes, it shows 3500 km" in answer.content.decode()
    again = client.post("/o/reading", typed | {"confirmed": "3500.000 km"})
    assert again["Location"] == "/o/?said=reading"
    assert workshop.trike.readings.get(value=3500).source == "owner"


@pytest.fixture
def doubted(workshop):
    """Miles typed as km among readings that agree with each other."""
    trike = workshop.trike
    trike.readings.all().delete()
    rows = [(60, 450), (120, 900), (150, 699), (180, 1350), (240, 1800), (300, 2250), (350, 2625)]
    made = [
        make.OdometerReadingFactory(trike=trike, value=km, read_at=NOW - timedelta(days=365 - day)) for day, km in rows
    ]
    return made[2]


def test_the_trike_page_shows_what_later_readings_make_doubtful_with_its_choices(doubted, desk):
    page = desk.get(f"/trikes/{doubted.trike_id}/").content.decode()
    assert "Later readings make this one doubtful: 699 km on " in page
    assert f'action="/readings/{doubted.pk}/decide/"' in page
    desk.post(f"/readings/{doubted.pk}/decide/", {"choice": "miles_as_km"})
    doubted.refresh_from_db()
    assert doubted.km == pytest.approx(1124.9, abs=0.1)
    assert "Later readings make" not in desk.get(f"/trikes/{doubted.trike_id}/").content.decode()


def test_a_trike_whose_readings_agree_shows_no_doubt(form, workshop, desk):
    assert "Later readings make" not in desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()


def test_the_trike_page_asks_the_database_no_more_for_more_readings(doubted, desk, assert_flat_queries):
    def grow():
        for day in range(5):
            make.OdometerReadingFactory(
                trike=doubted.trike, value=2640 + 8 * day, read_at=NOW - timedelta(days=9 - day)
            )

    assert_flat_queries(lambda: desk.get(f"/trikes/{doubted.trike_id}/"), grow)
