"""The sweep plans around closing days: what is proposed moves off them, safety work comes before a holiday."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests import factories
from tests.reminders.conftest import DUE, days, some_task, trike_with
from tracker.actions.closings import add_closing
from tracker.actions.reminders import run_sweep, sweep_trikes
from tracker.models import Closing, DueLine, OutboxMessage, Trike, Visit
from tracker.queries.appointments import free_days
from tracker.queries.visits import savings_ahead

pytestmark = pytest.mark.django_db
FRIDAY = DUE.date()


def close(first: date, last: date | None = None, now=DUE) -> Closing:
    return add_closing(first=first, last=last, by=None, now=now)


def visit_of(trike: Trike, now=DUE) -> Visit:
    sweep_trikes(trike_ids=[trike.pk], now=now)
    return Visit.objects.get(trike=trike, state="open")


def forget_plans() -> None:
    for model in (OutboxMessage, Visit, DueLine):
        model.objects.all().delete()


def test_a_visit_planned_on_a_day_that_closes_moves_at_once_though_by_a_day_only_and_stays_there():
    trike = trike_with(some_task(safety=False))
    before = visit_of(trike, DUE - days(10))
    close(before.planned_on, now=DUE - days(10))
    after = Visit.objects.get(pk=before.pk)
    run_sweep(now=DUE - days(9))
    assert Visit.objects.values("pk", "planned_on", "sequence").get() == {
        "pk": before.pk, "planned_on": after.planned_on, "sequence": after.sequence,
    }  # fmt: skip
    assert after.planned_on != before.planned_on
    assert abs(after.planned_on - before.planned_on) < timedelta(days=7)
    assert after.sequence == before.sequence + 1  # a subscribed calendar takes it over


def test_a_visit_on_another_day_stays_where_it_is():
    trike = trike_with(some_task(safety=False))
    before = visit_of(trike, DUE - days(10))
    close(before.planned_on + timedelta(days=1), before.planned_on + timedelta(days=14))
    after = visit_of(trike, DUE - days(9))
    assert (after.planned_on, after.sequence) == (before.planned_on, before.sequence)


def test_safety_work_that_falls_due_in_a_two_weeks_holiday_is_proposed_before_it():
    trike = trike_with(some_task(safety=True))
    limit = visit_of(trike, DUE - days(14)).planned_on
    forget_plans()
    holiday = close(limit - timedelta(days=6), limit + timedelta(days=7), now=DUE - days(20))
    assert visit_of(trike, DUE - days(20)).planned_on < holiday.first


def test_what_is_late_already_when_a_holiday_begins_gets_the_first_day_after_it():
    trike = trike_with(some_task(safety=True))
    late = DUE + days(10)
    holiday = close(late.date(), late.date() + timedelta(days=13), now=late)
    planned = visit_of(trike, late).planned_on
    assert holiday.last < planned <= holiday.last + timedelta(days=3)


def test_an_agreed_day_is_kept_until_somebody_rang():
    trike = trike_with(some_task(safety=False))
    visit_of(trike, DUE - days(10))
    agreed = date(2026, 5, 5)
    factories.AppointmentFactory(trike=trike, on=agreed, minutes=45, state="confirmed")
    close(agreed)
    assert visit_of(trike, DUE - days(9)).planned_on == agreed


def test_planning_savings_know_the_holiday_too():
    visit_of(trike_with(some_task(safety=False)))
    close(FRIDAY, FRIDAY + timedelta(days=200))
    assert savings_ahead(DUE).trips_planned == 0


def test_a_sweep_asks_as_many_queries_with_one_closing_as_with_twelve(assert_flat_queries):
    for _ in range(3):
        trike_with(some_task(safety=False))
    starts = iter(range(0, 400, 3))

    def grow(number: int = 11) -> None:
        for _ in range(number):
            close(FRIDAY + timedelta(days=next(starts)))

    def fetch() -> None:
        forget_plans()
        sweep_trikes(trike_ids=list(Trike.objects.values_list("pk", flat=True)), now=DUE - days(40))

    grow(1)
    assert_flat_queries(fetch, grow)


spans = st.lists(st.tuples(st.integers(0, 45), st.integers(0, 15)), max_size=4)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spans=spans, ahead=st.integers(0, 14), safety=st.booleans())
def test_whatever_is_closed_no_day_is_proposed_or_offered_on_it(spans, ahead, safety):
    forget_plans()
    Closing.objects.all().delete()
    now = DUE - days(ahead)
    trike = Trike.objects.filter(plate=f"P{safety}").first() or trike_with(some_task(safety=safety))
    Trike.objects.filter(pk=trike.pk).update(plate=f"P{safety}")
    for start, length in spans:
        first = now.date() + timedelta(days=start)
        factories.ClosingFactory(first=first, last=first + timedelta(days=length))
    closed = {
        row.first + timedelta(days=n) for row in Closing.objects.all() for n in range((row.last - row.first).days + 1)
    }
    sweep_trikes(trike_ids=[trike.pk], now=now)
    planned = {visit.planned_on for visit in Visit.objects.filter(state="open")}
    assert planned
    assert not planned & closed
    assert not set(free_days(45, now.date())) & closed
