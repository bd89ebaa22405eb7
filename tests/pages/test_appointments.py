"""The desk's pages of the days that owners asked for."""

import pytest

from tests import factories as make
from tests.pages.conftest import logged_in
from tracker.models import Appointment, OutboxMessage

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked(workshop) -> Appointment:
    """Tuesday 12 May 2026."""
    visit = make.VisitLineFactory(visit__trike=workshop.trike, component=workshop.chain).visit
    return make.AppointmentFactory(trike=workshop.trike, owner=workshop.owner, visit=visit, note="The brake squeals.")


def answer(client, row: Appointment, **sent):
    return client.post(f"/appointments/{row.pk}/", sent)


def test_the_list_shows_who_asked_for_which_day(desk, asked):
    page = desk.get("/appointments/").content.decode()
    for words in ("12 May 2026", asked.owner.name, str(asked.trike), "The brake squeals."):
        assert words in page


def test_a_request_shows_its_work_and_how_full_the_bench_is(desk, asked):
    make.AppointmentFactory(on=asked.on, minutes=60, state="confirmed")
    page = desk.get(f"/appointments/{asked.pk}/").content.decode()
    assert "Chain check" in page
    assert "2 h of 7 h asked for or agreed" in page  # 45 + 60 minutes of 420


def test_a_day_is_confirmed_the_calendar_moves_and_the_owner_is_told(desk, asked):
    assert answer(desk, asked, choice="confirm")["Location"] == "/appointments/"
    asked.refresh_from_db()
    asked.visit.refresh_from_db()
    assert (asked.state, asked.decided_by.username, asked.visit.sequence) == ("confirmed", "the-desk", 1)
    message = OutboxMessage.objects.get(kind="appointment")
    assert message.payload == {"agreed_on": "2026-05-12", "paragraphs": []}


def test_who_has_no_mail_address_reads_it_on_the_page(desk, asked):
    asked.owner.email = ""
    asked.owner.save()
    answer(desk, asked, choice="confirm")
    assert not OutboxMessage.objects.exists()


def test_declining_without_a_word_is_refused_beside_the_field(desk, asked):
    response = answer(desk, asked, choice="decline")
    assert response.status_code == 422
    assert b"Say why, in a few words." in response.content


def test_a_day_without_room_is_not_offered_and_what_was_typed_stays(desk, asked):
    make.AppointmentFactory(on="2026-05-14", minutes=400, state="confirmed")
    response = answer(desk, asked, choice="offer", on="2026-05-14", answer="Mika is away.")
    assert response.status_code == 409
    assert "has no room at the bench" in response.content.decode()
    assert "Mika is away." in response.content.decode()


@pytest.mark.parametrize("on", ["2026-05-01", "2026-05-16", "2026-05-12", ""])
def test_today_closed_days_the_same_day_and_none_are_not_offered(desk, asked, on):
    assert answer(desk, asked, choice="offer", on=on).status_code in {409, 422}


def test_an_agreed_day_can_still_be_put_off_and_the_calendar_moves_again(desk, asked):
    answer(desk, asked, choice="confirm")
    answer(desk, asked, choice="offer", on="2026-05-14", answer="Mika fell ill.")
    asked.visit.refresh_from_db()
    assert (Appointment.objects.get().state, asked.visit.sequence) == ("declined", 2)


def test_a_reviewer_looks_and_does_not_decide(asked):
    reviewer = logged_in("reviewer")
    assert reviewer.get(f"/appointments/{asked.pk}/").status_code == 200
    assert answer(reviewer, asked, choice="confirm").status_code == 403


def test_the_list_costs_the_same_queries_for_2_rows_as_for_22(desk, assert_flat_queries):
    make.AppointmentFactory.create_batch(2)
    assert_flat_queries(lambda: desk.get("/appointments/"), lambda: make.AppointmentFactory.create_batch(20))
