"""What reminders bring: the shop's page."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.pages.conftest import logged_in
from tracker.queries.reminder_report import reminder_report

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def visit(first: int, closed: int | None = None, due: int = 0, **values):
    """A visit reminded of `first` days ago and done `closed` days ago, first due `due` days after 1 April."""
    trike = make.OwnershipFactory().trike
    row = make.VisitFactory(
        trike=trike,
        state="open" if closed is None else "done",
        closed_at=None if closed is None else NOW - closed * DAY,
    )
    component = make.ComponentFactory()
    make.VisitLineFactory(visit=row, component=component, due_on=date(2026, 4, 1) + due * DAY)
    sent = NOW - first * DAY
    make.OutboxMessageFactory(
        trike=trike, visit=row, stage="due", state="sent", sent_at=sent, created_at=sent, **values
    )
    return row


def test_it_counts_what_went_out_and_what_came_back():
    for state in ("sent", "sent", "failed", "unknown", "waiting"):
        make.OutboxMessageFactory(trike=None, state=state, sent_at=NOW if state == "sent" else None, created_at=NOW)
    make.OutboxMessageFactory(trike=None, state="sent", sent_at=NOW, bounced_at=NOW)
    make.OutboxMessageFactory(trike=None, kind="safety", state="sent", sent_at=NOW)
    make.OutboxMessageFactory(trike=None, state="sent", sent_at=NOW - 400 * DAY)
    found = reminder_report(NOW)
    assert (found.sent, found.came_back, found.failed, found.unknown, found.waiting) == (3, 1, 1, 1, 1)


def test_a_visit_within_sixty_days_of_its_first_reminder_followed_it():
    visit(90, 30)  # done sixty days later
    visit(90, 29)
    visit(90)
    visit(20)
    found = reminder_report(NOW)
    assert (found.reminded, found.followed, found.open_still, found.told) == (4, 1, 1, 3)


def test_later_reminders_of_a_visit_do_not_make_it_two():
    row = visit(50, 10)
    make.OutboxMessageFactory(trike=row.trike, visit=row, stage="overdue", state="sent", sent_at=NOW - 20 * DAY)
    make.VisitLineFactory(visit=row, component=make.ComponentFactory(), due_on=date(2026, 6, 1))
    found = reminder_report(NOW)
    assert (found.reminded, found.followed) == (1, 1)
    assert found.by_stage == [("due", 1), ("overdue", 1)]


def test_days_early_and_late_are_counted_from_the_first_due_day():
    for due in (20, 30, 50):  # done on 21 April: 21, 20, 0 ... days around it
        visit(40, 10, due=due)
    days = reminder_report(NOW).days
    assert (days.middle, days.earliest, days.latest, days.early, days.late) == (-10, -30, 0, 2, 0)


def test_owners_who_tell_their_odometer_are_counted_once():
    owner = make.OwnerFactory()
    for _ in range(2):
        trike = make.OwnershipFactory(owner=owner).trike
        make.OdometerReadingFactory.create_batch(2, trike=trike, source="owner", read_at=NOW)
    make.OwnershipFactory(owner__stopped_at=NOW)
    make.OdometerReadingFactory(trike=make.OwnershipFactory(owner__email_dead_at=NOW).trike, source="desk")
    found = reminder_report(NOW)
    assert (found.owners, found.reporting, found.stopped, found.unreachable) == (3, 1, 1, 1)


def test_the_page_says_it_in_words_and_that_opens_are_not_tracked(desk):
    visit(40, 10, due=30)
    make.OutboxMessageFactory(trike=None, stage="monthly-2", state="sent", sent_at=NOW)
    page = desk.get("/messages/report/").content.decode()
    assert "<b>1</b> of 1 followed within 60 days" in page
    assert "10 days before the due day" in page
    assert "no pixels" in page


def test_the_page_of_an_empty_record_says_so(desk):
    page = desk.get("/messages/report/").content.decode()
    assert "No owner was reminded of a visit yet." in page
    assert "Nobody owns a trike yet." in page


@pytest.mark.parametrize("role", ["desk", "mechanic", "reviewer", "admin"])
def test_every_role_may_look(role):
    assert logged_in(role).get("/messages/report/").status_code == 200


def test_it_costs_the_same_queries_for_2_visits_and_22(desk, assert_flat_queries):
    for _ in range(2):
        visit(40, 10)
    assert_flat_queries(lambda: desk.get("/messages/report/"), lambda: [visit(40, 10) for _ in range(20)])
