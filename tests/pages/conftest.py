"""People with roles, a small workshop, and a clock that stands."""

from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
import time_machine
from django.contrib.auth.models import Group
from django.test import Client

from tests import factories as make
from tracker.models import Component, JobCard, Owner, Trike, User

PASSWORD = "larkfen-bench-9"
ROLES = ("desk", "mechanic", "reviewer", "admin")


@pytest.fixture(autouse=True)
def _standing_clock():
    with time_machine.travel(datetime(2026, 5, 1, 10, 0, tzinfo=UTC), tick=False):
        yield


def person(role: str, name: str = "") -> User:
    """A person who can log in, with one role; '' for none."""
    user = make.UserFactory(username=name or f"the-{role or 'newcomer'}")
    user.set_password(PASSWORD)
    user.save()
    if role:
        user.groups.add(Group.objects.get_or_create(name=role)[0])
    return user


def logged_in(role: str, name: str = "") -> Client:
    """A browser of a person with `role`."""
    client = Client()
    client.force_login(person(role, name))
    return client


@pytest.fixture
def desk(db) -> Client:
    return logged_in("desk")


@pytest.fixture
def mechanic(db) -> Client:
    return logged_in("mechanic")


@pytest.fixture
def reviewer(db) -> Client:
    return logged_in("reviewer")


@pytest.fixture
def admin(db) -> Client:
    return logged_in("admin")


@dataclass
class Workshop:
    """One delivered trike with an owner, a frame, a chain and a shock."""

    trike: Trike
    owner: Owner
    chain: Component
    shock: Component
    card: JobCard


def carry(trike: Trike, kind: str, position: str, serial: str) -> Component:
    """Fit a new component of `kind` to `trike`."""
    component = make.ComponentFactory(part_type__kind=kind, serial=serial, state="fitted")
    make.FitmentFactory(component=component, trike=trike, position=position)
    return component


@pytest.fixture
def workshop(db) -> Workshop:
    trike = make.TrikeFactory(frame_serial="F26-1040", plate="LT-310")
    owner = make.OwnerFactory(
        name="Zoë Ångström", search_name="zoe angstrom", phone="020 7946 0312", phone_e164="+442079460312"
    )
    make.OwnershipFactory(trike=trike, owner=owner)
    carry(trike, "frame", "frame", "F26-1040")
    chain = carry(trike, "chain", "chain", "K24000")
    shock = carry(trike, "air_shock", "rear-shock", "S24037")
    make.OdometerReadingFactory(trike=trike, value=2000)
    card = make.JobCardFactory(trike=trike, number="J25-00042")
    make.JobTaskFactory(card=card, component=chain, task="chain_check")
    return Workshop(trike, owner, chain, shock, card)


def due(trike: Trike, component: Component, **values):
    """A stored due line with the facts its sentence is made from."""
    facts = {
        "rule": {"task": "chain_check", "title": "Chain check", "every_km": 1500, "every_months": 6, "rebase": "from_done"},
        "last": None, "limits": {"on": "2026-05-10", "is_first": False}, "anchor": {"on": "2026-04-01", "km": 2000.0},
        "rate": {"a_year": 1461.0, "share": 0.8, "stretches": 3, "months": [1.0] * 12, "southern": False,
                 "read_on": "2026-04-01", "read_km": 2000.0},
        "severity": 1.0, "measured": "",
    }  # fmt: skip
    return make.DueLineFactory(trike=trike, component=component, facts=facts, **values)
