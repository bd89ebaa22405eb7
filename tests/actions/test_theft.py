"""Stolen, and found again: what is held meanwhile, what stands in the logbook, what is refused."""

import random
from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tracker.actions import refusals
from tracker.actions.outbox import dispatch_one
from tracker.actions.reminders import run_sweep
from tracker.actions.steps import refresh_due
from tracker.actions.theft import found_again, report_stolen
from tracker.models import DueLine, LogEntry, OutboxMessage, Trike, Visit

pytestmark = pytest.mark.django_db
ON = date(2026, 4, 28)


@pytest.fixture
def trike() -> Trike:
    """A delivered trike of an owner who agreed, with a chain whose check is overdue."""
    trike = make.OwnershipFactory().trike
    make.FitmentFactory(trike=trike, component=make.ComponentFactory(state="fitted"))
    make.ServiceIntervalFactory()
    make.OdometerReadingFactory(trike=trike, value=5000)
    refresh_due([trike.pk], NOW)
    return trike


def steal(trike: Trike, **values) -> Trike:
    return report_stolen(**{"trike_id": trike.pk, "on": ON, "note": "report 4711", "now": NOW} | values)


def test_a_stolen_trike_is_marked_with_its_day_and_note(trike):
    row = steal(trike)
    assert (row.stolen_on, row.stolen_note, row.version) == (ON, "report 4711", trike.version + 1)


def test_reminders_are_held_while_it_is_stolen_and_go_on_after(trike):
    steal(trike)
    run_sweep(now=NOW, everything=True)
    assert not Visit.objects.exists()
    assert not OutboxMessage.objects.exists()
    found_again(trike_id=trike.pk, on=NOW.date(), now=NOW)
    run_sweep(now=NOW, everything=True)
    assert Visit.objects.get().state == "open"
    assert OutboxMessage.objects.get().state == "waiting"


def test_an_open_visit_and_waiting_reminders_are_dropped(trike):
    run_sweep(now=NOW, everything=True)
    assert OutboxMessage.objects.get().state == "waiting"
    steal(trike)
    assert (OutboxMessage.objects.get().state, Visit.objects.get().state) == ("dropped", "dropped")


def test_a_reminder_that_waits_again_later_is_dropped_too(trike):
    """The desk may send a failed one again."""
    run_sweep(now=NOW, everything=True)
    steal(trike)
    OutboxMessage.objects.update(state="waiting")
    Visit.objects.update(state="open")
    dispatch_one(channel=None, now=NOW + timedelta(hours=5), rng=random.Random(1))
    assert OutboxMessage.objects.get().last_error == "The trike is reported stolen."


def test_its_due_list_stays(trike):
    steal(trike)
    assert DueLine.objects.count() == 1


def test_both_stand_in_the_logbook(trike):
    steal(trike)
    found_again(trike_id=trike.pk, on=ON + timedelta(days=2), note="in a ditch", now=NOW)
    told = [(row.kind, row.body) for row in LogEntry.objects.order_by("seq")]
    assert told == [
        ("stolen", {"on": "2026-04-28", "note": "report 4711"}),
        ("found_again", {"on": "2026-04-30", "stolen_on": "2026-04-28", "note": "in a ditch"}),
    ]
    trike.refresh_from_db()
    assert (trike.stolen_on, trike.stolen_note) == (None, "")


def test_reporting_it_twice_is_refused_with_the_day_it_was_reported_for(trike):
    steal(trike)
    with pytest.raises(refusals.WrongState, match="since 28 Apr 2026 already"):
        steal(trike)


def test_what_was_not_stolen_is_not_found_again(trike):
    with pytest.raises(refusals.WrongState):
        found_again(trike_id=trike.pk, on=ON, now=NOW)


@pytest.mark.parametrize("on", [NOW.date() + timedelta(days=1), date(2025, 4, 30)])
def test_a_day_in_the_future_or_before_the_delivery_is_refused(trike, on):
    with pytest.raises(refusals.FieldInvalid) as refusal:
        steal(trike, on=on)
    assert refusal.value.field == "on"


@pytest.mark.parametrize("on", [NOW.date() + timedelta(days=1), ON - timedelta(days=1)])
def test_it_is_found_after_it_was_stolen_and_not_in_the_future(trike, on):
    steal(trike)
    with pytest.raises(refusals.FieldInvalid):
        found_again(trike_id=trike.pk, on=on, now=NOW)


def test_a_retired_trike_is_not_stolen_any_more(trike):
    Trike.objects.update(state="retired")
    with pytest.raises(refusals.WrongState):
        steal(trike)


def test_a_stale_version_is_refused(trike):
    with pytest.raises(refusals.StaleVersion):
        steal(trike, version=trike.version + 1)
