"""The desk's page of closing days: enter, ring, take back."""

import pytest

from tests import factories as make
from tests.pages.conftest import logged_in
from tracker.models import Closing

pytestmark = pytest.mark.django_db


def enter(client, **sent):
    return client.post("/closings/", {"first": "2026-05-12", "last": "", "reason": "", **sent})


def shown(client) -> str:
    return client.get("/closings/").content.decode()


def test_an_empty_list_says_what_belongs_there(desk):
    page = shown(desk)
    assert "No closing day is entered." in page
    assert "Close on these days" in page


def test_a_holiday_is_entered_and_stands_there_with_who_entered_it(desk):
    answer = desk.post("/closings/", {"first": "2026-08-03", "last": "2026-08-14", "reason": "summer"}, follow=True)
    page = answer.content.decode()
    assert "Closed: 3 Aug 2026 to 14 Aug 2026." in page
    for words in (
        "Mon 3 Aug 2026 to Fri 14 Aug 2026",
        "summer",
        "12 days",
        f"entered by {Closing.objects.get().entered_by}",
    ):
        assert words in page


def test_whom_to_ring_is_said_at_once_with_the_number(desk):
    owner = make.OwnerFactory(name="Maud Pettersson", phone="+44 20 7946 0812")
    row = make.AppointmentFactory(owner=owner, state="confirmed")
    page = desk.post("/closings/", {"first": "2026-05-12", "last": "", "reason": ""}, follow=True).content.decode()
    assert "1 owner expects us on a day of it: ring them, see below." in page
    for words in ("Maud Pettersson", "+44 20 7946 0812", "agreed", f"/appointments/{row.pk}/"):
        assert words in page
    assert "1 agreed day while we are closed." in desk.get("/").content.decode()


def test_the_soonest_stands_first_and_what_is_over_apart(desk):
    make.ClosingFactory(reason="later")
    make.ClosingFactory(first="2026-06-01", last="2026-06-02", reason="sooner")
    make.ClosingFactory(first="2026-04-01", last="2026-04-02", reason="easter")
    page = shown(desk)
    assert page.index("sooner") < page.index("later") < page.index("<h2>Past</h2>") < page.index("easter")
    assert page.count("Open again") == 4  # button and its name, of two


@pytest.mark.parametrize(
    "sent",
    [
        {"first": ""}, {"first": "12.5.2026"}, {"first": "tomorrow"}, {"first": "2026-13-40"}, {"last": "2026-05-11"},
        {"first": "0001-01-01"}, {"last": "9999-12-31"}, {"reason": "x" * 121}, {"reason": "a\x00b"},
    ],
)  # fmt: skip
def test_what_cannot_be_closed_is_refused_beside_the_field_and_stays_typed(desk, sent):
    answer = enter(desk, **sent)
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.content.decode()
    assert not Closing.objects.exists()


def test_what_is_typed_is_shown_as_text(desk):
    enter(desk, reason="<script>alert(1)</script>")
    assert "<script>alert" not in shown(desk)
    assert "&lt;script&gt;alert" in shown(desk)


def test_a_closing_is_taken_back(desk):
    row = make.ClosingFactory()
    page = desk.post(f"/closings/{row.pk}/remove/", follow=True).content.decode()
    assert "Open again: 24 Dec 2026 to 31 Dec 2026." in page
    assert not Closing.objects.exists()
    assert desk.post(f"/closings/{row.pk}/remove/").status_code == 404


def test_what_is_over_is_not_taken_back(desk):
    row = make.ClosingFactory(first="2026-04-01", last="2026-04-02")
    assert "is over" in desk.post(f"/closings/{row.pk}/remove/", follow=True).content.decode()
    assert Closing.objects.exists()


def test_a_reviewer_looks_and_closes_nothing():
    reviewer = logged_in("reviewer")
    assert "Close on these days" not in shown(reviewer)
    assert enter(reviewer).status_code == 403


def test_a_request_for_a_closed_day_offers_no_confirmation(desk):
    row = make.AppointmentFactory(visit=make.VisitFactory())
    enter(desk)
    page = desk.get(f"/appointments/{row.pk}/").content.decode()
    assert "on that day: offer another." in page
    assert 'value="confirm"' not in page
    answer = desk.post(f"/appointments/{row.pk}/", {"choice": "confirm"})
    assert answer.status_code == 409
    assert "The workshop is closed on 12 May 2026." in answer.content.decode()


def test_the_list_costs_the_same_queries_for_2_rows_as_for_22(desk, assert_flat_queries):
    make.ClosingFactory.create_batch(2, entered_by=make.UserFactory())
    assert_flat_queries(
        lambda: shown(desk), lambda: make.ClosingFactory.create_batch(20, entered_by=make.UserFactory())
    )
