"""Retirement: every part leaves with its life, the record closes, a kept frame can open it again."""

from datetime import timedelta

import pytest

from tests import factories as make
from tests.factories import DELIVERED, NOW
from tracker.actions import refusals
from tracker.actions.fitments import fit_component, remove_component
from tracker.actions.owner_links import make_link
from tracker.actions.reminders import run_sweep
from tracker.actions.retirement import retire_trike
from tracker.actions.steps import refresh_due
from tracker.actions.trikes import register_trike
from tracker.models import Component, DueLine, Fitment, LogEntry, OutboxMessage, OwnerLink, Trike, Visit
from tracker.queries.due import rebuild_differences
from tracker.queries.life import lives_of
from tracker.queries.logbook import broken_chains

pytestmark = pytest.mark.django_db


@pytest.fixture
def trike() -> Trike:
    """A delivered trike with frame, chain and battery, at 5,000 km, its chain check overdue."""
    trike = make.OwnershipFactory().trike
    frame = make.ComponentFactory(part_type__kind="frame", serial=trike.frame_serial, state="fitted")
    make.FitmentFactory(trike=trike, component=frame, position="frame")
    for kind in ("chain", "battery"):
        part = make.ComponentFactory(part_type__kind=kind, state="fitted")
        make.FitmentFactory(trike=trike, component=part, position=kind)
    make.ServiceIntervalFactory()
    make.OdometerReadingFactory(trike=trike, value=5000, read_at=NOW)
    refresh_due([trike.pk], NOW)
    return trike


def part(trike: Trike, position: str) -> Component:
    return Component.objects.get(fitments__trike=trike, fitments__position=position)


def fates(trike: Trike, **other: str) -> dict[int, str]:
    told = {"frame": "scrapped", "chain": "scrapped", "battery": "in_stock"} | other
    return {part(trike, position).pk: fate for position, fate in told.items()}


def retire(trike: Trike, **values) -> Trike:
    usual = {"trike_id": trike.pk, "reason": "frame cracked", "fates": fates(trike), "at": NOW, "now": NOW}
    return retire_trike(**usual | values)


def test_every_part_goes_where_it_was_said_to_go(trike):
    retire(trike, fates=fates(trike, battery="quarantined", frame="in_stock"))
    found = {position: part(trike, position).state for position in ("frame", "chain", "battery")}
    assert found == {"frame": "in_stock", "chain": "scrapped", "battery": "quarantined"}
    assert not Fitment.objects.current().exists()


def test_parts_leave_with_their_life(trike):
    battery = part(trike, "battery")
    retire(trike)
    kept = lives_of([battery.pk], NOW + timedelta(days=300))[battery.pk].km
    assert kept == pytest.approx(5000)


def test_the_trike_says_when_and_why(trike):
    row = retire(trike)
    assert (row.state, row.retired_on, row.retired_reason) == ("retired", NOW.date(), "frame cracked")


def test_nothing_is_due_and_nothing_is_left_over(trike):
    assert DueLine.objects.exists()
    retire(trike)
    assert not DueLine.objects.exists()
    assert rebuild_differences() == []


def test_visit_messages_and_links_end(trike):
    run_sweep(now=NOW, everything=True)
    make_link(trike_id=trike.pk, owner_id=trike.ownerships.get().owner_id, now=NOW)
    retire(trike)
    assert (Visit.objects.get().state, OutboxMessage.objects.get().state) == ("dropped", "dropped")
    assert OwnerLink.objects.get().revoked_at == NOW
    run_sweep(now=NOW, everything=True)
    assert not Visit.objects.filter(state="open").exists()


def test_the_logbook_tells_every_part_and_the_end_and_holds(trike):
    retire(trike)
    told = [(row.kind, row.body.get("position") or row.body["parts"]) for row in LogEntry.objects.order_by("seq")]
    assert told == [("removed", "battery"), ("removed", "chain"), ("removed", "frame"), ("retired", 3)]
    assert list(broken_chains()) == []


def test_a_part_without_a_fate_is_asked_about_and_nothing_changes(trike):
    chain = part(trike, "chain")
    with pytest.raises(refusals.NotEnough, match=chain.serial):
        retire(trike, fates={pk: fate for pk, fate in fates(trike).items() if pk != chain.pk})
    assert Fitment.objects.current().count() == 3


@pytest.mark.parametrize(("position", "fate"), [("frame", "returned"), ("chain", "fitted"), ("chain", "sold")])
def test_a_fate_that_is_none_is_refused(trike, position, fate):
    with pytest.raises(refusals.FieldInvalid) as refusal:
        retire(trike, fates=fates(trike, **{position: fate}))
    assert refusal.value.facts["component"] == part(trike, position).pk


def test_a_part_that_is_not_on_it_is_refused(trike):
    other = make.ComponentFactory()
    with pytest.raises(refusals.FieldInvalid, match=other.serial):
        retire(trike, fates=fates(trike) | {other.pk: "scrapped"})


def test_an_open_job_card_keeps_it_in_service(trike):
    card = make.JobCardFactory(trike=trike)
    with pytest.raises(refusals.WrongState, match=card.number):
        retire(trike)


def test_a_handover_half_signed_keeps_it_in_build(trike):
    make.HandoverFactory(trike=trike)
    with pytest.raises(refusals.WrongState, match="second signature"):
        retire(trike)


def test_it_is_not_retired_twice(trike):
    retire(trike)
    with pytest.raises(refusals.WrongState, match="retired already"):
        retire(trike, fates={})


def test_a_reason_is_needed(trike):
    with pytest.raises(refusals.NotEnough) as refusal:
        retire(trike, reason=" ")
    assert refusal.value.field == "reason"


def test_the_future_is_refused(trike):
    with pytest.raises(refusals.FieldInvalid):
        retire(trike, at=NOW + timedelta(hours=1))


def test_no_part_leaves_before_it_was_fitted(trike):
    with pytest.raises(refusals.RemovedBeforeFitted):
        retire(trike, at=DELIVERED)


def test_a_trike_in_build_can_be_given_up(trike):
    Trike.objects.update(state="in_build", delivered_on=None)
    assert retire(trike).state == "retired"


def test_the_frame_leaves_by_retirement_only(trike):
    frame = Fitment.objects.get(position="frame")
    with pytest.raises(refusals.WrongState, match="frame is the trike"):
        remove_component(fitment_id=frame.pk, at=NOW, now=NOW)


@pytest.mark.parametrize(("delivered_on", "state"), [(DELIVERED.date(), "delivered"), (None, "in_build")])
def test_a_kept_frame_opens_the_record_again(trike, delivered_on, state):
    if delivered_on is None:
        Trike.objects.update(state="in_build", delivered_on=None)
    retire(trike, fates=fates(trike, frame="in_stock"))
    frame, battery = part(trike, "frame"), part(trike, "battery")
    later = NOW + timedelta(days=1)
    again = register_trike(frame_component_id=frame.pk, now=later)
    assert (again.pk, again.state, again.retired_on, again.retired_reason) == (trike.pk, state, None, "")
    fit_component(trike_id=again.pk, position="battery", component_id=battery.pk, at=later, now=later)
    assert list(broken_chains()) == []
    assert rebuild_differences() == []


def test_a_scrapped_frame_opens_nothing(trike):
    retire(trike)
    with pytest.raises(refusals.ComponentNotUsable):
        register_trike(frame_component_id=part(trike, "frame").pk, now=NOW + timedelta(days=1))
