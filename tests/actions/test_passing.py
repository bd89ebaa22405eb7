"""A trike passes to another owner: what ends, what begins, what stays, and what is refused."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.factories import DELIVERED, NOW
from tracker.actions import refusals
from tracker.actions.owner_links import LinkGone, make_link, open_link
from tracker.actions.passing import pass_on
from tracker.actions.reminders import run_sweep
from tracker.actions.steps import refresh_due
from tracker.actions.usage import record_reading
from tracker.models import LogEntry, OdometerReading, OutboxMessage, OwnerLink, Ownership, ServiceInterval, Trike, Visit
from tracker.queries.due import rebuild_differences
from tracker.queries.life import clocks_of, meter_clocks_of, runs_of
from tracker.queries.logbook import broken_chains

pytestmark = pytest.mark.django_db
SINCE = date(2026, 4, 20)


@pytest.fixture
def trike() -> Trike:
    """A delivered trike of an owner, with a chain whose check is overdue."""
    trike = make.OwnershipFactory().trike
    make.FitmentFactory(trike=trike, component=make.ComponentFactory(state="fitted"))
    make.ServiceIntervalFactory()
    make.OdometerReadingFactory(trike=trike, value=5000)
    refresh_due([trike.pk], NOW)
    return trike


@pytest.fixture
def buyer():
    return make.OwnerFactory(reminders_agreed=False, agreed_at=None, agreed_source="")


def sell(trike: Trike, owner, since: date = SINCE, **values) -> Ownership:
    return pass_on(trike_id=trike.pk, owner_id=owner.pk, since=since, by=make.UserFactory(), now=NOW, **values)


def test_the_present_ownership_ends_on_the_day_the_next_begins(trike, buyer):
    begun = sell(trike, buyer)
    first = trike.ownerships.get(until__isnull=False)
    assert (first.until, begun.since, begun.until, begun.owner) == (SINCE, SINCE, None, buyer)


def test_a_trike_without_an_owner_on_record_gets_its_first(buyer):
    trike = make.TrikeFactory()
    assert sell(trike, buyer).owner == buyer


def test_the_links_of_the_old_owner_die_page_and_stop_alike(trike, buyer):
    old = trike.ownerships.get().owner
    tokens = {p: make_link(trike_id=trike.pk, owner_id=old.pk, purpose=p, now=NOW)[1] for p in ("page", "stop")}
    sell(trike, buyer)
    assert OwnerLink.objects.filter(revoked_at=NOW).count() == 2
    for purpose, token in tokens.items():
        with pytest.raises(LinkGone):
            open_link(token, NOW, purpose)


def test_a_link_of_another_trike_of_the_old_owner_lives_on(trike, buyer):
    old = trike.ownerships.get().owner
    other = make.OwnershipFactory(owner=old).trike
    _, token = make_link(trike_id=other.pk, owner_id=old.pk, now=NOW)
    sell(trike, buyer)
    assert open_link(token, NOW).trike == other


def test_consent_is_kept_with_its_time_and_source(trike, buyer):
    sell(trike, buyer, agreed=True, agreed_source="by telephone")
    buyer.refresh_from_db()
    assert (buyer.reminders_agreed, buyer.agreed_at, buyer.agreed_source) == (True, NOW, "by telephone")


def test_without_their_word_nothing_of_the_new_owner_changes(trike, buyer):
    before = buyer.version
    sell(trike, buyer)
    buyer.refresh_from_db()
    assert (buyer.reminders_agreed, buyer.version) == (False, before)


def test_reminders_that_wait_are_dropped_and_a_safety_notice_goes_to_the_new_owner(trike, buyer):
    old = trike.ownerships.get().owner
    waiting = make.OutboxMessageFactory(trike=trike, owner=old)
    sent = make.OutboxMessageFactory(trike=trike, owner=old, state="sent", sent_at=NOW)
    notice = make.OutboxMessageFactory(trike=trike, owner=old, kind="safety")
    sell(trike, buyer)
    states = {row.pk: (row.state, row.owner_id) for row in OutboxMessage.objects.all()}
    assert states == {
        waiting.pk: ("dropped", old.pk), sent.pk: ("sent", old.pk), notice.pk: ("waiting", buyer.pk),
    }  # fmt: skip


@pytest.mark.parametrize("agreed", [True, False])
def test_the_visit_is_told_to_the_new_owner_only_by_consent(trike, buyer, agreed):
    run_sweep(now=NOW - timedelta(days=20), everything=True)
    told = OutboxMessage.objects.get()
    OutboxMessage.objects.update(state="sent", sent_at=NOW - timedelta(days=1))
    before = Visit.objects.get()
    sell(trike, buyer, agreed=agreed, agreed_source="in writing")
    run_sweep(now=NOW, everything=True)
    before.refresh_from_db()
    assert before.state == "dropped"
    assert Visit.objects.filter(trike=trike, state="open").count() == 1
    written = OutboxMessage.objects.exclude(pk=told.pk)
    assert [(row.owner_id, row.visit.state) for row in written] == ([(buyer.pk, "open")] if agreed else [])


def test_a_reading_at_the_transfer_is_kept_like_any_reading(trike, buyer):
    sell(trike, buyer, reading=5100, unit="km")
    reading = OdometerReading.objects.get(value=5100)
    assert (reading.verdict, reading.read_at.date(), reading.source) == ("accepted", SINCE, "desk")


def test_an_unlikely_reading_is_asked_about_and_nothing_passes_on_before_the_answer(trike, buyer):
    with pytest.raises(refusals.PleaseConfirm):
        sell(trike, buyer, since=NOW.date(), reading=9000, answer="")
    assert trike.ownerships.get().until is None
    sell(trike, buyer, since=NOW.date(), reading=9000, answer="accept")
    assert Ownership.objects.count() == 2


def test_the_logbook_tells_it_without_names_and_the_chain_holds(trike, buyer):
    begun = sell(trike, buyer, agreed=True, agreed_source="by telephone")
    entry = LogEntry.objects.get(kind="owner_changed")
    before = Ownership.objects.get(until__isnull=False)
    assert entry.body == {"since": "2026-04-20", "ownership": begun.pk, "before": before.pk}
    assert list(broken_chains()) == []


def test_the_due_list_follows_at_once(trike, buyer):
    before = trike.due_lines.get().facts["rate"]
    sell(trike, buyer)
    after = trike.due_lines.get().facts["rate"]
    assert (before["stretches"], after["stretches"]) == (1, 0)
    assert after["share"] == 0
    assert rebuild_differences() == []


def test_the_range_of_the_next_day_is_wider_after_a_transfer_and_narrows_as_the_new_rider_reads(trike, buyer):
    ServiceInterval.objects.update(every_km=6500, every_months=None)
    make.OdometerReadingFactory(trike=trike, value=2500, read_at=NOW - timedelta(days=200))
    refresh_due([trike.pk], NOW)

    def days() -> int:
        line = trike.due_lines.get()
        return (line.likely_until - line.likely_from).days

    known = days()
    sell(trike, buyer, since=NOW.date(), reading=5200)
    stranger = days()
    later = NOW + timedelta(days=90)
    record_reading(trike_id=trike.pk, value=6100, read_at=later, now=later)
    assert known < stranger
    assert days() < stranger
    assert rebuild_differences() == []


@pytest.mark.parametrize(("fitted_days_ago", "stretches"), [(300, 0), (5, 1)])
def test_hours_of_a_motor_are_the_new_riders_but_not_those_of_one_fitted_since(
    trike, buyer, fitted_days_ago, stretches
):
    motor = make.ComponentFactory(part_type__kind="motor", state="fitted")
    fitted = NOW - timedelta(days=fitted_days_ago)
    make.FitmentFactory(trike=trike, component=motor, position="boom-motor", fitted_at=fitted)
    make.MeterReadingFactory(component=motor, meter="motor_hours", value=50, read_at=fitted + timedelta(days=15))
    sell(trike, buyer, since=(NOW - timedelta(days=20)).date())
    clocks = clocks_of([trike.pk])
    meters = meter_clocks_of({motor.pk: trike.pk}, runs_of([motor.pk], clocks), clocks)
    assert float(meters[motor.pk, "hours"].state.stretches) == stretches


def test_changes_of_owner_cost_one_query_for_all_trikes(assert_flat_queries):
    def grow(count: int = 20) -> None:
        for _ in range(count):
            first = make.OwnershipFactory(until=SINCE)
            make.OwnershipFactory(trike=first.trike, since=SINCE)

    grow(2)
    assert_flat_queries(lambda: clocks_of(Trike.objects.values_list("pk", flat=True)), grow)


def test_the_same_owner_is_refused(trike):
    with pytest.raises(refusals.SameOwner) as refusal:
        sell(trike, trike.ownerships.get().owner)
    assert refusal.value.field == "owner"


@pytest.mark.parametrize("since", [DELIVERED.date() - timedelta(days=1), NOW.date() + timedelta(days=1)])
def test_a_day_before_the_present_ownership_or_in_the_future_is_refused(trike, buyer, since):
    with pytest.raises(refusals.FieldInvalid) as refusal:
        sell(trike, buyer, since=since)
    assert refusal.value.field == "since"
    assert Ownership.objects.count() == 1


@pytest.mark.parametrize("state", ["in_build", "retired"])
def test_only_a_delivered_trike_passes_on(buyer, state):
    with pytest.raises(refusals.WrongState):
        sell(make.TrikeFactory(state=state), buyer)


def test_a_stolen_trike_does_not_pass_on(trike, buyer):
    Trike.objects.update(stolen_on=SINCE)
    with pytest.raises(refusals.WrongState, match="stolen"):
        sell(trike, buyer)


def test_consent_without_how_it_was_given_is_refused(trike, buyer):
    with pytest.raises(refusals.NotEnough) as refusal:
        sell(trike, buyer, agreed=True, agreed_source=" ")
    assert refusal.value.field == "agreed_source"


def test_an_owner_who_is_not_on_record_is_refused(trike):
    with pytest.raises(refusals.Invalid):
        pass_on(trike_id=trike.pk, owner_id=987654, since=SINCE, now=NOW)


def test_of_two_who_pass_on_what_they_saw_one_wins(trike, buyer):
    sell(trike, buyer, version=trike.version)
    with pytest.raises(refusals.StaleVersion):
        sell(trike, make.OwnerFactory(), version=trike.version)
