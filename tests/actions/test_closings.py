"""Closing days: entered, refused, taken back; and that nobody is offered or promised one."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tracker.actions.appointments import DayClosed, DayTaken, ask_for_day, decide_appointment
from tracker.actions.closings import AlreadyClosed, add_closing, remove_closing
from tracker.actions.refusals import FieldInvalid, Invalid, WrongState
from tracker.models import Appointment, Closing, OwnerLink
from tracker.queries.appointments import bench_on, free_days, standing
from tracker.queries.closing_list import agreed_while_closed, closings_ahead, expected_in, with_expected
from tracker.queries.closings import closing_on, days_closed

pytestmark = pytest.mark.django_db
TODAY = NOW.date()  # Friday 1 May 2026
TUESDAY, WEDNESDAY = date(2026, 5, 12), date(2026, 5, 13)


def close(first: date, last: date | None = None, **more) -> Closing:
    return add_closing(first=first, last=last, by=None, now=NOW, **more)


def linked() -> OwnerLink:
    """The link of an owner whose trike has an open visit with work for the bench, planned for Tuesday."""
    owned = make.OwnershipFactory()
    make.VisitLineFactory(visit__trike=owned.trike, visit__planned_on=TUESDAY)
    return make.OwnerLinkFactory(trike=owned.trike, owner=owned.owner)


def test_without_a_last_day_it_is_one_day_and_who_entered_it_is_kept():
    person = make.UserFactory()
    row = add_closing(first=TUESDAY, reason=" a fair ", by=person, now=NOW)
    assert (row.first, row.last, row.reason, row.entered_by, row.entered_at) == (
        TUESDAY,
        TUESDAY,
        "a fair",
        person,
        NOW,
    )


def test_a_two_weeks_holiday_is_offered_to_nobody_and_the_days_around_it_are():
    close(date(2026, 5, 11), date(2026, 5, 24))
    days = free_days(45, TODAY)
    assert [day for day in days if date(2026, 5, 8) <= day <= date(2026, 5, 25)] == [
        date(2026, 5, 8),
        date(2026, 5, 25),
    ]


def test_the_days_closed_are_told_from_a_day_on_and_no_earlier():
    close(date(2026, 5, 4), date(2026, 5, 8))
    close(WEDNESDAY)
    assert days_closed(date(2026, 5, 7))["closed_dates"] == {date(2026, 5, 7), date(2026, 5, 8), WEDNESDAY}
    assert closing_on(date(2026, 5, 6)) is not None
    assert closing_on(date(2026, 5, 9)) is None


def test_a_closed_day_can_neither_be_asked_for_nor_offered_nor_confirmed():
    link = linked()
    row = ask_for_day(link=link, on=WEDNESDAY, now=NOW)
    close(TUESDAY, WEDNESDAY)
    with pytest.raises(DayClosed):
        decide_appointment(appointment_id=row.pk, choice="confirm", by=None, now=NOW)
    with pytest.raises(DayTaken):
        decide_appointment(appointment_id=row.pk, choice="offer", on=TUESDAY, by=None, now=NOW)
    with pytest.raises(DayTaken):
        ask_for_day(link=linked(), on=TUESDAY, now=NOW)
    assert Appointment.objects.get().state == "asked"


def test_a_request_for_a_closed_day_can_be_declined_and_another_day_offered():
    row = ask_for_day(link=linked(), on=WEDNESDAY, now=NOW)
    close(WEDNESDAY)
    assert decide_appointment(appointment_id=row.pk, choice="offer", on=date(2026, 5, 14), by=None, now=NOW).on == date(
        2026, 5, 14
    )


def test_a_proposed_day_that_has_closed_since_is_not_suggested_to_its_owner():
    link = linked()
    assert standing(link.trike_id, link.trike.visits.get(), TODAY).suggested == TUESDAY
    make.ClosingFactory(first=TUESDAY, last=TUESDAY)  # and the plan has not followed
    stands = standing(link.trike_id, link.trike.visits.get(), TODAY)
    assert stands.suggested is None
    assert TUESDAY not in (*stands.near, *stands.others)


def test_who_expects_us_on_a_closing_day_is_listed_agreed_and_asked_alike_and_nobody_else():
    agreed = make.AppointmentFactory(on=TUESDAY, state="confirmed")
    asked = make.AppointmentFactory(on=WEDNESDAY)
    for state in ("declined", "withdrawn"):
        make.AppointmentFactory(on=TUESDAY, state=state)
    make.AppointmentFactory(on=TUESDAY, state="confirmed", visit=make.VisitFactory(state="done"))
    make.AppointmentFactory(on=date(2026, 5, 14), state="confirmed")
    row = close(TUESDAY, WEDNESDAY)
    assert [one.pk for one in closings_ahead(TODAY)[0].appointments] == [agreed.pk, asked.pk]
    assert list(expected_in(row, TODAY)) == [agreed, asked]
    assert list(agreed_while_closed(TODAY)) == [agreed]
    assert with_expected(Closing.objects.all()).get().expected == 2


def test_what_is_agreed_stays_agreed():
    agreed = make.AppointmentFactory(on=TUESDAY, state="confirmed")
    close(TUESDAY)
    agreed.refresh_from_db()
    assert (agreed.state, agreed.on) == ("confirmed", TUESDAY)


@pytest.mark.parametrize(
    ("first", "last", "field"),
    [
        (TUESDAY, date(2026, 5, 11), "last"), (date(2026, 4, 1), date(2026, 4, 30), "first"),
        (date(2026, 4, 30), None, "first"), (TUESDAY, TUESDAY + timedelta(days=366), "last"),
        (date(2199, 1, 1), None, "last"),
    ],
)  # fmt: skip
def test_days_that_cannot_be_closed_are_refused_at_their_field(first, last, field):
    with pytest.raises(FieldInvalid) as refused:
        close(first, last)
    assert refused.value.field == field
    assert not Closing.objects.exists()


def test_a_holiday_that_has_begun_can_still_be_entered():
    assert close(TODAY - timedelta(days=3), TODAY).pk


@pytest.mark.parametrize(("first", "last"), [(4, 4), (8, 12), (1, 5), (1, 20)])
def test_days_entered_twice_are_refused_and_the_other_entry_is_named(first, last):
    other = close(date(2026, 5, 4), date(2026, 5, 8))
    with pytest.raises(AlreadyClosed) as refused:
        close(date(2026, 5, first), date(2026, 5, last))
    assert refused.value.facts == {"closing": other.pk}
    assert "4 May 2026 to 8 May 2026 is entered already." in refused.value.message


def test_what_is_taken_back_is_offered_again():
    row = close(TUESDAY)
    removed = remove_closing(closing_id=row.pk, by=None, now=NOW)
    assert (removed.first, Closing.objects.count()) == (TUESDAY, 0)
    assert bench_on(TUESDAY, TUESDAY).is_open(TUESDAY)


def test_what_is_over_stays_and_what_is_not_there_cannot_be_taken_back():
    past = make.ClosingFactory(first=date(2026, 4, 1), last=date(2026, 4, 30))
    with pytest.raises(WrongState):
        remove_closing(closing_id=past.pk, by=None, now=NOW)
    with pytest.raises(Invalid):
        remove_closing(closing_id=past.pk + 1, by=None, now=NOW)


def test_closings_are_told_in_as_many_queries_for_two_as_for_twelve(assert_flat_queries):
    days = iter(range(200))

    def grow(number: int = 10) -> None:
        for _ in range(number):
            day = TUESDAY + timedelta(days=next(days))
            make.ClosingFactory(first=day, last=day, entered_by=make.UserFactory())
            make.AppointmentFactory(on=day)

    def fetch() -> list[tuple]:
        return [
            (told.closing.entered_by.username, [(row.owner.name, row.trike.plate) for row in told.appointments])
            for told in closings_ahead(TODAY)
        ]

    grow(2)
    assert_flat_queries(fetch, grow)
