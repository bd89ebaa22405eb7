"""The sweep proposes days on which the bench has room: agreed days and open visits count, what owners do does not."""

from datetime import date, timedelta

import pytest

from tests import factories
from tests.reminders.conftest import DUE, days, dispatch_all, fit, some_task, trike_with
from tracker.actions.reminders import sweep_trikes
from tracker.models import DueLine, OutboxMessage, Trike, Visit
from tracker.queries.bench_load import bench_load

pytestmark = pytest.mark.django_db

FRIDAY = DUE.date()
MONDAY = date(2026, 5, 4)


def sweep(*trikes: Trike, now=DUE) -> list[Visit]:
    """The open visits of these trikes after a sweep, in their order."""
    sweep_trikes(trike_ids=[trike.pk for trike in trikes], now=now)
    return [Visit.objects.get(trike=trike, state="open") for trike in trikes]


def wanted_day(now=DUE) -> date:
    """The day a visit gets while nothing else is at the bench."""
    visit = sweep(trike_with(some_task(safety=False)), now=now)[0]
    OutboxMessage.objects.all().delete()
    Visit.objects.all().delete()
    return visit.planned_on


def fill(day: date, minutes: int = 420) -> None:
    factories.AppointmentFactory(on=day, minutes=minutes, state="confirmed")


def test_a_full_day_is_left_to_others_and_the_words_say_why():
    day = wanted_day()
    fill(day)
    visit = sweep(trike_with(some_task(safety=False)))[0]
    assert visit.planned_on > day
    assert "The bench is full on" in visit.words


def test_a_day_with_room_is_kept(settings):
    day = wanted_day()
    fill(day, 60)
    assert sweep(trike_with(some_task(safety=False)))[0].planned_on == day


def test_without_a_limit_every_day_has_room(settings):
    settings.BENCH_MINUTES_A_DAY = 0
    day = wanted_day()
    fill(day, 9000)
    assert sweep(trike_with(some_task(safety=False)))[0].planned_on == day


def test_many_trikes_due_on_one_day_are_spread_over_the_days_that_are_open(settings):
    task = some_task(safety=False)
    settings.BENCH_MINUTES_A_DAY = 2 * task.minutes
    visits = sweep(*[trike_with(task) for _ in range(7)])
    planned = [visit.planned_on for visit in visits]
    assert max(planned.count(day) for day in planned) == 2
    assert {day.weekday() for day in planned}.isdisjoint(settings.CLOSED_WEEKDAYS)


def test_a_second_sweep_moves_nothing(settings):
    task = some_task(safety=False)
    settings.BENCH_MINUTES_A_DAY = task.minutes
    trikes = [trike_with(task) for _ in range(12)]
    first = [(visit.pk, visit.planned_on, visit.sequence) for visit in sweep(*trikes)]
    again = [(visit.pk, visit.planned_on, visit.sequence) for visit in sweep(*reversed(trikes))]
    assert again == first[::-1]


def test_a_proposed_day_stands_night_after_night_however_full_the_others_are(settings):
    task = some_task(safety=False)
    settings.BENCH_MINUTES_A_DAY = task.minutes
    trikes = [trike_with(task) for _ in range(9)]
    first = {visit.trike_id: visit.planned_on for visit in sweep(*trikes, now=DUE - days(12))}
    for night in range(-11, -5):
        for visit in sweep(*trikes, now=DUE + days(night)):
            assert visit.planned_on == first[visit.trike_id]


def test_safety_work_is_not_put_off_past_its_limit_by_a_full_bench():
    task = some_task(safety=True)
    for number in range(30):
        fill(FRIDAY - timedelta(days=20 - number))
    visit = sweep(trike_with(task), now=DUE - days(10))[0]
    assert visit.planned_on <= FRIDAY
    assert "safety does not wait" in visit.words


def test_an_agreed_day_is_the_visits_day_and_stays_it():
    trike = trike_with(some_task(safety=False))
    sweep(trike, now=DUE - days(10))
    factories.AppointmentFactory(trike=trike, on=MONDAY, minutes=45, state="confirmed")
    visit = sweep(trike, now=DUE - days(9))[0]
    assert visit.planned_on == MONDAY
    assert visit.words.startswith("Agreed with the owner for 4 May 2026.")
    assert sweep(trike, now=DUE - days(8))[0].sequence == visit.sequence


def test_who_agreed_a_day_is_not_called_to_agree_one(postbox):
    trike = trike_with(some_task(safety=False))
    sweep(trike, now=DUE - days(10))
    factories.AppointmentFactory(trike=trike, on=MONDAY, minutes=45, state="confirmed")
    assert dispatch_all(postbox, DUE - days(10)) == ["dropped"]
    for day in range(-9, 4):
        sweep(trike, now=DUE + days(day))
    assert OutboxMessage.objects.count() == 1
    sweep(trike, now=DUE + days(4))  # the day went by and the work is still open
    assert OutboxMessage.objects.count() == 2


def test_a_trike_with_an_agreed_day_takes_the_bench_once():
    trike = trike_with(some_task(safety=False))
    visit = sweep(trike)[0]
    factories.AppointmentFactory(trike=trike, on=MONDAY, minutes=30, state="confirmed")
    taken = bench_load(FRIDAY).taken
    assert (taken[MONDAY], taken[visit.planned_on]) == (30, 0)


def test_what_owners_do_themselves_takes_no_time_at_the_bench():
    sweep(trike_with(some_task(owner_can=True)))
    assert sum(bench_load(FRIDAY).taken.values()) == 0


def test_what_is_only_asked_for_or_was_declined_takes_none_either():
    for state in ("asked", "declined", "withdrawn"):
        factories.AppointmentFactory(on=MONDAY, state=state)
    assert sum(bench_load(FRIDAY).taken.values()) == 0


def test_an_agreed_day_of_a_trike_with_nothing_due_still_counts():
    fill(MONDAY)
    trike = Trike.objects.get()
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    assert bench_load(FRIDAY).taken[MONDAY] == 420


def test_a_visit_that_is_no_longer_needed_gives_its_time_back_to_the_same_sweep(settings):
    settings.BENCH_MINUTES_A_DAY = some_task(safety=False).minutes
    first, second = trike_with(some_task(safety=False)), trike_with(some_task(safety=False))
    sweep(first)
    factories.CompletionFactory(
        trike=first, component=first.fitments.get().component, task=some_task(safety=False).code, done_at=DUE
    )
    sweep_trikes(trike_ids=[first.pk, second.pk], now=DUE)
    assert Visit.objects.get(state="open").words.count("The bench is full") == 0


def test_room_is_looked_up_in_as_many_queries_for_two_trikes_as_for_twelve(assert_flat_queries):
    def grow(number: int = 10) -> None:
        for _ in range(number):
            trike = trike_with(some_task(safety=False))
            fit(trike, some_task(safety=True))
            factories.AppointmentFactory(trike=trike, on=MONDAY + days(number), state="confirmed")

    grow(2)
    nights = iter(range(100))

    def fetch() -> None:
        for model in (OutboxMessage, Visit, DueLine):
            model.objects.all().delete()
        sweep_trikes(trike_ids=list(Trike.objects.values_list("pk", flat=True)), now=DUE + days(next(nights)))

    assert_flat_queries(fetch, grow)
