"""What an owner sets and does behind their link: later, quiet, units, own tasks, data, handing on."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.reminders.conftest import fit, some_task, trike_with
from tracker.actions.hand_on import ask_to_hand_on
from tracker.actions.owner_wishes import (
    NotForOwners,
    SafetyDoesNotWait,
    set_quiet,
    set_units,
    snooze_visit,
    tick_own_task,
)
from tracker.actions.refusals import FieldInvalid, Invalid, NotEnough, UnknownTimeZone, WrongState
from tracker.actions.reminders import sweep_trikes
from tracker.models import Completion, DueLine, LogEntry, OutboxMessage, OwnerLink
from tracker.queries.due import rebuild_differences
from tracker.queries.owner_export import owner_data

pytestmark = pytest.mark.django_db
OWN, SAFE = some_task(owner_can=True), some_task(safety=True)


def linked(*tasks, months: int = 12) -> OwnerLink:
    """The link of an owner whose trike has these tasks due on 1 May 2026 (12 months) or before."""
    trike = trike_with(tasks[0], months=months)
    for task in tasks[1:]:
        fit(trike, task, months=months)
    sweep_trikes(trike_ids=[trike.pk], now=NOW)
    return make.OwnerLinkFactory(trike=trike, owner=trike.ownerships.get().owner)


def part_of(link: OwnerLink, task) -> int:
    return DueLine.objects.get(trike_id=link.trike_id, task=task.code).component_id


# Later


@pytest.mark.parametrize("weeks", [1, 2, 4])
def test_a_visit_waits_as_many_weeks_as_asked(weeks):
    visit = snooze_visit(link=linked(some_task(safety=False)), weeks=weeks, now=NOW)
    assert visit.snoozed_until == NOW.date() + timedelta(weeks=weeks)


def test_what_waits_to_be_sent_waits_as_long_and_comes_when_the_wish_ends():
    link = linked(some_task(safety=False))
    snooze_visit(link=link, weeks=1, now=NOW)
    assert OutboxMessage.objects.get().not_before.date() == date(2026, 5, 7)  # midnight of 8 May in London is 23:00 UTC
    assert snooze_visit(link=link, weeks=0, now=NOW).snoozed_until is None
    assert OutboxMessage.objects.get().not_before == NOW


def test_the_one_reminder_that_comes_through_a_snooze_does_not_wait_for_a_longer_one():
    link = linked(SAFE)
    OutboxMessage.objects.update(stage="snoozed", not_before=NOW)
    snooze_visit(link=link, weeks=4, now=NOW)
    assert OutboxMessage.objects.get().not_before == NOW


def test_overdue_safety_work_is_not_put_off_and_says_which():
    link = linked(SAFE, months=11)
    with pytest.raises(SafetyDoesNotWait) as refused:
        snooze_visit(link=link, weeks=1, now=NOW)
    assert SAFE.title in refused.value.message
    assert link.trike.visits.get().snoozed_until is None


def test_safety_work_that_is_not_overdue_may_wait():
    assert snooze_visit(link=linked(SAFE), weeks=1, now=NOW).snoozed_until


@pytest.mark.parametrize("weeks", [-1, 3, 52])
def test_other_waits_are_refused(weeks):
    with pytest.raises(FieldInvalid):
        snooze_visit(link=linked(SAFE), weeks=weeks, now=NOW)


def test_where_nothing_is_due_there_is_nothing_to_put_off():
    with pytest.raises(WrongState):
        snooze_visit(link=linked(SAFE, months=60), weeks=1, now=NOW)


# Quiet hours and units


def quiet(link: OwnerLink, from_hour: int | None = 21, until_hour: int | None = 9, weekdays=(6,)):
    return set_quiet(link=link, from_hour=from_hour, until_hour=until_hour, weekdays=weekdays, now=NOW)


def test_quiet_hours_and_days_are_kept_and_given_up():
    link = make.OwnerLinkFactory()
    owner = quiet(link)
    assert (owner.quiet_from_hour, owner.quiet_until_hour, owner.quiet_weekdays, owner.version) == (21, 9, [6], 2)
    owner = quiet(link, None, None, ())
    assert (owner.quiet_from_hour, owner.quiet_until_hour, owner.quiet_weekdays) == (None, None, [])


@pytest.mark.parametrize(
    "wish",
    [{"from_hour": 24}, {"until_hour": -1}, {"from_hour": None}, {"weekdays": (7,)}, {"weekdays": range(7)}],
)
def test_hours_and_days_that_make_no_sense_are_refused(wish):
    with pytest.raises(FieldInvalid):
        quiet(make.OwnerLinkFactory(), **wish)


def units(link: OwnerLink, **wish):
    values = {"distance_unit": "mi", "pressure_unit": "psi", "time_zone": "America/New_York"} | wish
    return set_units(link=link, now=NOW, **values)


def test_units_and_zone_are_kept():
    owner = units(make.OwnerLinkFactory())
    assert (owner.distance_unit, owner.pressure_unit, owner.time_zone) == ("mi", "psi", "America/New_York")


@pytest.mark.parametrize(
    ("wish", "refusal"),
    [
        ({"distance_unit": "furlong"}, FieldInvalid),
        ({"pressure_unit": "atm"}, FieldInvalid),
        ({"time_zone": "Middle/Earth"}, UnknownTimeZone),
    ],
)
def test_units_nobody_knows_are_refused(wish, refusal):
    with pytest.raises(refusal):
        units(make.OwnerLinkFactory(), **wish)


def test_who_moves_south_rides_by_other_seasons_at_once():
    link = linked(SAFE)
    units(link, time_zone="Australia/Sydney")
    assert rebuild_differences() == []


# Own tasks


def tick(link: OwnerLink, task=OWN, now=NOW):
    return tick_own_task(link=link, task=task.code, component_ids=[part_of(link, task)], now=now)


def test_a_tick_is_a_completion_of_the_owners_in_the_logbook_and_the_due_list_moves_with_it():
    link = linked(OWN)
    before = DueLine.objects.get(task=OWN.code).due_on
    tick(link)
    assert [(row.source, row.task) for row in Completion.objects.all()] == [("owner", OWN.code)]
    assert [(row.kind, row.source, row.actor) for row in LogEntry.objects.all()] == [("task_done", "owner", None)]
    assert DueLine.objects.get(task=OWN.code).due_on > before
    assert rebuild_differences() == []


def test_two_ticks_on_one_day_are_one():
    link = linked(OWN)
    tick(link)
    tick(link, now=NOW + timedelta(minutes=1))
    assert Completion.objects.count() == 1


def test_a_visit_of_own_tasks_alone_is_done_with_its_last_tick():
    link = linked(OWN)
    tick(link)
    assert link.trike.visits.get().state == "done"


def test_the_workshops_tasks_are_not_ticked_by_owners():
    link = linked(SAFE)
    with pytest.raises(NotForOwners):
        tick(link, SAFE)


def test_another_trikes_part_is_not_ticked():
    mine, other = linked(OWN), linked(OWN)
    stranger = DueLine.objects.get(trike_id=other.trike_id).component_id
    for parts in ([stranger], [stranger, DueLine.objects.get(trike_id=mine.trike_id).component_id], [], [-1]):
        with pytest.raises(Invalid):
            tick_own_task(link=mine, task=OWN.code, component_ids=parts, now=NOW)
    assert not Completion.objects.exists()


# Data and handing on


def test_the_data_are_the_owners_own_and_of_this_trike_alone():
    link = linked(SAFE)
    before = make.OdometerReadingFactory(trike=link.trike, read_at=NOW - timedelta(days=700), value=7)
    mine = make.OdometerReadingFactory(trike=link.trike, value=1500)
    make.OdometerReadingFactory(value=9999)
    data = owner_data(link, NOW)
    assert (data["you"]["email"], data["consent_to_reminders"]["agreed_source"]) == (link.owner.email, "handover")
    assert [row["value"] for row in data["odometer_readings"]] == [mine.value]
    assert before.value not in [row["value"] for row in data["odometer_readings"]]
    assert [row["kind"] for row in data["messages"]] == ["reminder"]
    assert "Article 15" in data["about"]
    assert "Article 20" in data["about"]


def test_the_data_cost_the_same_queries_however_much_there_is(assert_flat_queries):
    link = linked(SAFE)
    assert_flat_queries(
        lambda: owner_data(link, NOW), lambda: make.OdometerReadingFactory.create_batch(20, trike=link.trike)
    )


def test_handing_on_tells_the_desk_once_and_transfers_nothing():
    link = linked(SAFE)
    for _ in range(2):
        ask_to_hand_on(link=link, words="My brother Nils, from Sunday on.", now=NOW)
    assert OutboxMessage.objects.filter(kind="hand_on").count() == 1
    assert link.trike.ownerships.get().until is None


def test_handing_on_without_a_word_is_refused():
    with pytest.raises(NotEnough):
        ask_to_hand_on(link=make.OwnerLinkFactory(), words="  ", now=NOW)
