"""A day at the bench: asked for, taken back, decided; what it holds, whoever asks first."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tracker.actions.appointments import AskedAlready, DayTaken, ask_for_day, decide_appointment, withdraw
from tracker.actions.passing import pass_on
from tracker.actions.refusals import WrongState
from tracker.models import Appointment, OwnerLink
from tracker.queries.appointments import free_days, standing

pytestmark = pytest.mark.django_db
TODAY, TUESDAY, WEDNESDAY = NOW.date(), date(2026, 5, 12), date(2026, 5, 13)


def linked(task: str = "chain_check", minutes: int = 45) -> OwnerLink:
    """The link of an owner whose trike has an open visit."""
    owned = make.OwnershipFactory()
    visit = make.VisitFactory(trike=owned.trike, minutes=minutes)
    make.VisitLineFactory(visit=visit, task=task)
    return make.OwnerLinkFactory(trike=owned.trike, owner=owned.owner)


@pytest.fixture
def link() -> OwnerLink:
    return linked()


def standing_of(link: OwnerLink):
    return standing(link.trike_id, link.trike.visits.get(), TODAY)


def test_free_days_are_open_days_of_the_next_six_weeks_from_tomorrow_on(db, settings):
    settings.CLOSED_WEEKDAYS = {5, 6}
    days = free_days(45, TODAY)  # 1 May 2026 is a Friday: the calendar
    assert (days[0], days[-1], len(days)) == (date(2026, 5, 4), date(2026, 6, 12), 30)


def test_a_day_holds_what_the_bench_can_do_and_no_more(db, settings):
    settings.BENCH_MINUTES_A_DAY = 100
    make.AppointmentFactory(on=TUESDAY, minutes=60)
    assert TUESDAY in free_days(40, TODAY)
    assert TUESDAY not in free_days(41, TODAY)


def test_what_was_withdrawn_declined_or_done_takes_no_room(db, settings):
    settings.BENCH_MINUTES_A_DAY = 100
    for state in ("withdrawn", "declined"):
        make.AppointmentFactory(on=TUESDAY, minutes=90, state=state)
    make.AppointmentFactory(on=TUESDAY, minutes=90, visit=make.VisitFactory(state="done"))
    assert TUESDAY in free_days(100, TODAY)


def test_an_owner_asks_for_a_day_with_the_minutes_of_the_visit(link):
    row = ask_for_day(link=link, on=TUESDAY, note="squeals", now=NOW)
    assert (row.state, row.minutes, row.visit, row.owner) == ("asked", 45, link.trike.visits.get(), link.owner)


def test_one_trike_has_one_open_request(link):
    ask_for_day(link=link, on=TUESDAY, now=NOW)
    with pytest.raises(AskedAlready):
        ask_for_day(link=link, on=WEDNESDAY, now=NOW)


def test_who_comes_second_for_the_last_room_is_offered_other_days(link, settings):
    settings.BENCH_MINUTES_A_DAY = 60
    ask_for_day(link=linked(), on=TUESDAY, now=NOW)
    with pytest.raises(DayTaken) as refused:
        ask_for_day(link=link, on=TUESDAY, now=NOW)
    assert "2026-05-13" in refused.value.facts["days"]


@pytest.mark.parametrize("on", [TODAY, TODAY - timedelta(days=3), date(2026, 5, 16), TODAY + timedelta(days=43)])
def test_today_the_past_closed_days_and_far_days_cannot_be_asked_for(link, on):
    with pytest.raises(DayTaken):
        ask_for_day(link=link, on=on, now=NOW)


def test_without_work_for_the_workshop_there_is_no_day_to_ask_for():
    with pytest.raises(WrongState):
        ask_for_day(link=linked(task="lights_check"), on=TUESDAY, now=NOW)
    owned = make.OwnershipFactory()
    with pytest.raises(WrongState):
        ask_for_day(link=make.OwnerLinkFactory(trike=owned.trike, owner=owned.owner), on=TUESDAY, now=NOW)


def test_what_is_taken_back_leaves_room_and_another_day_can_be_asked_for(link):
    ask_for_day(link=link, on=TUESDAY, now=NOW)
    assert withdraw(link=link, now=NOW).state == "withdrawn"
    assert ask_for_day(link=link, on=WEDNESDAY, now=NOW).state == "asked"


def test_only_taking_back_an_agreed_day_changes_the_plan_in_calendars(link):
    row = ask_for_day(link=link, on=TUESDAY, now=NOW)
    withdraw(link=link, now=NOW)
    assert link.trike.visits.get().sequence == 0
    row = ask_for_day(link=link, on=TUESDAY, now=NOW)
    decide_appointment(appointment_id=row.pk, choice="confirm", by=None, now=NOW)
    withdraw(link=link, now=NOW)
    assert link.trike.visits.get().sequence == 2


def test_nothing_asked_for_is_nothing_to_take_back(link):
    make.AppointmentFactory(trike=link.trike)  # somebody else's
    with pytest.raises(WrongState):
        withdraw(link=link, now=NOW)


def test_a_day_that_went_by_stands_in_nobodys_way(link):
    ask_for_day(link=link, on=TUESDAY, now=NOW)
    later = NOW + timedelta(days=20)
    assert ask_for_day(link=link, on=date(2026, 5, 26), now=later).on == date(2026, 5, 26)
    assert Appointment.objects.get(on=TUESDAY).answer == "The day has passed."


def test_a_declined_day_is_not_offered_again_and_an_offered_one_comes_first(link):
    row = ask_for_day(link=link, on=TUESDAY, now=NOW)
    decide_appointment(appointment_id=row.pk, choice="decline", answer="We are at a fair.", by=None, now=NOW)
    stands = standing_of(link)
    assert TUESDAY not in (*stands.near, *stands.others)
    assert stands.refused == Appointment.objects.get()
    row = ask_for_day(link=link, on=WEDNESDAY, now=NOW)
    decide_appointment(appointment_id=row.pk, choice="offer", on=date(2026, 6, 2), by=None, now=NOW)
    assert standing_of(link).offered == date(2026, 6, 2)
    with pytest.raises(DayTaken):
        ask_for_day(link=link, on=TUESDAY, now=NOW)
    assert ask_for_day(link=link, on=date(2026, 6, 2), now=NOW).state == "asked"


def test_nothing_is_decided_twice(link):
    row = ask_for_day(link=link, on=TUESDAY, now=NOW)
    decide_appointment(appointment_id=row.pk, choice="confirm", by=None, now=NOW)
    with pytest.raises(WrongState):
        decide_appointment(appointment_id=row.pk, choice="confirm", by=None, now=NOW)


def test_a_trike_that_passes_on_takes_no_day_along(link):
    ask_for_day(link=link, on=TUESDAY, now=NOW)
    pass_on(trike_id=link.trike_id, owner_id=make.OwnerFactory().pk, since=TODAY, now=NOW)
    assert Appointment.objects.get().state == "withdrawn"
