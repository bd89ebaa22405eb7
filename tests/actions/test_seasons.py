"""Riders in the south ride by the southern seasons: what is stored follows where the owner lives."""

from datetime import timedelta

import pytest

from tests import factories as make
from tracker.actions import handovers, owners
from tracker.actions.reminders import run_sweep
from tracker.models import DueLine
from tracker.queries.due import rebuild_differences

pytestmark = pytest.mark.django_db


def test_an_owner_who_moves_south_gets_other_dates_at_once(now):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=3000, every_months=None)
    owner = make.OwnerFactory(time_zone="Europe/London")
    trike = make.OwnershipFactory(owner=owner).trike
    chain = make.ComponentFactory(part_type__kind="chain", state="fitted")
    make.FitmentFactory(trike=trike, component=chain, position="chain")
    for month in range(8):
        make.OdometerReadingFactory(
            trike=trike, value=100 + 150 * month, read_at=now - timedelta(days=30 * (8 - month))
        )
    run_sweep(now=now, everything=True)
    before = DueLine.objects.get(component=chain)
    owners.change_owner(owner_id=owner.pk, version=None, changes={"time_zone": "Australia/Melbourne"}, by=None, now=now)
    after = DueLine.objects.get(component=chain)
    assert after.facts["rate"]["southern"] is True
    assert after.due_on > before.due_on  # in May the southern winter lies ahead
    assert rebuild_differences() == []


def test_a_trike_built_for_a_southern_rider_is_reckoned_so_before_the_second_signature(now):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=3000, every_months=None)
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    chain = make.ComponentFactory(part_type__kind="chain", state="fitted")
    make.FitmentFactory(trike=trike, component=chain, position="chain", fitted_at=now - timedelta(days=3))
    run_sweep(now=now, everything=True)
    owner = make.OwnerFactory(time_zone="Australia/Melbourne")
    handovers.hand_over(
        trike_id=trike.pk, owner_id=owner.pk, handed_over_on=now.date(), reading_km=5.0, checks=[("brakes hold", True, "")],
        built_by=make.UserFactory(), now=now,
    )  # fmt: skip
    assert rebuild_differences() == []
