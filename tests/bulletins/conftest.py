"""A workshop with a few trikes, their owners, two people, and what a bulletin of theirs says."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.factories import (
    ComponentFactory,
    FitmentFactory,
    OwnerFactory,
    OwnershipFactory,
    PartTypeFactory,
    TrikeFactory,
    UserFactory,
)
from tracker.actions.bulletins import release_bulletin, write_bulletin

NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=1)


@pytest.fixture
def writer(db):
    return UserFactory()


@pytest.fixture
def second(db):
    return UserFactory()


@pytest.fixture
def shock(db):
    return PartTypeFactory(kind="air_shock", part_number="LF-SHOCK")


def says(shock, **values):
    """What a reviewer writes about a batch of shocks."""
    return {
        "title": "Air shock may leak", "severity": "mandatory", "remedy": "We renew the seal, free of charge.",
        "part_types": [shock.pk], "batches": ["K-17"], "minutes": 40, **values,
    }  # fmt: skip


def danger(shock, **values):
    """The same, and somebody can be hurt."""
    told = {
        "severity": "stop", "is_hazard": True, "hazard": "The shock can burst and throw the rider.",
        "stop_riding": "Stop riding your trike now.",
    }  # fmt: skip
    return says(shock, **(told | values))


def draft(values, by):
    return write_bulletin(values=values, by=by, now=NOW)


def released(values, writer, second, now=NOW):
    row = write_bulletin(values=values, by=writer, now=now)
    return release_bulletin(bulletin_id=row.pk, version=row.version, by=second, now=now)


def on_a_trike(part_type, serial, owner=None, position="rear-shock", **values):
    """A component on a delivered trike with an owner."""
    trike = TrikeFactory()
    FitmentFactory(component=ComponentFactory(part_type=PartTypeFactory(kind="frame"), state="fitted",
                   serial=trike.frame_serial), trike=trike, position="frame")  # fmt: skip
    part = ComponentFactory(part_type=part_type, serial=serial, state="fitted", **values)
    FitmentFactory(component=part, trike=trike, position=position)
    OwnershipFactory(trike=trike, owner=owner or OwnerFactory())
    return part
