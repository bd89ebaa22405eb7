"""The road through the core: build, hand over, ride, work, sign."""

from datetime import date, timedelta

import pytest

from services.positions import POSITIONS
from tests import factories as make
from tests.releasing import release_if_demanded
from tracker.actions import bench, fitments, handovers, job_cards, schedule, signing, swaps, trikes, usage
from tracker.actions.refusals import CardAlreadySigned, SameSigner, SerialAlreadyFitted
from tracker.models import Component, DueLine, Fitment, LogEntry
from tracker.queries import due, life, logbook

pytestmark = pytest.mark.django_db


@pytest.fixture
def people():
    return make.UserFactory(), make.UserFactory()


def interval_rows():
    import csv
    from pathlib import Path

    with (Path(__file__).parents[2] / "fixtures" / "intervals.csv").open() as file:
        return list(csv.DictReader(file))


@pytest.fixture
def trike(people, now):
    builder, second = people
    begun = now - timedelta(days=400)
    schedule.load_default_intervals(rows=interval_rows(), now=now)
    frame = make.ComponentFactory(part_type__kind="frame")
    machine = trikes.register_trike(
        frame_component_id=frame.pk, plate="lt 77", model="Fenrunner", by=builder, now=begun
    )
    for position, kind in (
        ("chain", "chain"),
        ("rear-hub", "hub_geared"),
        ("battery", "battery"),
        ("rear-shock", "air_shock"),
    ):
        part = make.ComponentFactory(part_type__kind=kind)
        fitments.fit_component(
            trike_id=machine.pk, position=position, component_id=part.pk, at=begun, by=builder, now=begun
        )
    owner = make.OwnerFactory()
    handover = handovers.hand_over(
        trike_id=machine.pk,
        owner_id=owner.pk,
        handed_over_on=(now - timedelta(days=400)).date(),
        reading_km=12.0,
        set_to=handovers.SetTo(rider_mass_kg=80),
        checks=[("brakes hold", True, "")],
        built_by=builder,
        now=begun,
    )
    with pytest.raises(SameSigner):
        handovers.sign_handover(handover_id=handover.pk, by=builder, now=begun)
    handovers.sign_handover(handover_id=handover.pk, by=second, now=begun)
    machine.refresh_from_db()
    return machine


def part_at(trike, position):
    return Fitment.objects.current().get(trike=trike, position=position).component


def test_a_signed_card_moves_the_due_list_and_keeps_the_old_battery_with_its_life(trike, people, now):
    usage.record_reading(trike_id=trike.pk, value=3200, unit="km", read_at=now - timedelta(days=1), now=now)
    assert due.rebuild_differences() == []
    hub, chain, battery = (part_at(trike, p) for p in ("rear-hub", "chain", "battery"))
    line = DueLine.objects.get(component=hub, task="hub_oil_change")
    assert line.due_on < now.date()
    card = job_cards.open_card(trike_id=trike.pk, complaint="noisy", by=people[0], now=now)
    assert card.tasks.filter(task="hub_oil_change").exists()
    job_cards.take_odometer(card_id=card.pk, value=3210, unit="km", by=people[0], now=now)
    bench.set_task(card_id=card.pk, component_id=hub.pk, task="hub_oil_change", outcome="done", by=people[0], now=now)
    measured = bench.record_measurement(
        card_id=card.pk, component_id=chain.pk, quantity_code="chain_elongation_pct", value=0.62, by=people[0], now=now
    )
    assert measured.words == "0.62 % - replace soon: limit 0.75 %."
    spare = make.ComponentFactory(part_type__kind="battery")
    swaps.plan_swap(
        card_id=card.pk,
        position="battery",
        old_serial=battery.serial.lower(),
        new_serial=f" {spare.serial.lower()} ",
        fate="returned",
        reason="weak",
        by=people[0],
        now=now,
    )
    card = release_if_demanded(card, now, people[0])
    signing.sign_card(card_id=card.pk, version=card.version, by=people[0], now=now)
    line.refresh_from_db()
    assert line.due_on == date(2026, 9, 19) or line.due_on > now.date()
    battery.refresh_from_db()
    assert battery.state == Component.State.RETURNED
    assert part_at(trike, "battery") == spare
    lives = life.lives_of([battery.pk, spare.pk], now + timedelta(days=1))
    assert lives[battery.pk].km == pytest.approx(3210)
    assert lives[spare.pk].km < 20
    assert due.rebuild_differences() == []
    assert list(logbook.broken_chains()) == []
    with pytest.raises(CardAlreadySigned):
        job_cards.update_card(card_id=card.pk, version=None, changes={"minutes": 5}, now=now)


def test_a_fitted_serial_is_refused_with_the_place_it_sits(trike, now):
    other = make.TrikeFactory()
    with pytest.raises(SerialAlreadyFitted) as refusal:
        fitments.fit_component(
            trike_id=other.pk, position="chain", component_id=part_at(trike, "chain").pk, at=now, now=now
        )
    assert trike.frame_serial in refusal.value.message
    assert POSITIONS["chain"].title in refusal.value.message


def test_every_change_is_in_the_logbook(trike):
    kinds = list(LogEntry.objects.filter(trike=trike).order_by("seq").values_list("kind", flat=True))
    assert kinds == ["fitted"] * 5 + ["handover_built", "delivered"]
