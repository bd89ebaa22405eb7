"""A trike whose yearly service is due on 1 May 2026, and ways to send letters."""

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from django.test import Client

from services.kinds import all_tasks
from tests import factories
from tests.factories import NOW
from tracker.actions.outbox import dispatch_one
from tracker.actions.owner_links import make_link
from tracker.actions.posting import Delivery, Letter, Outcome
from tracker.models import Owner, ServiceInterval, Trike
from tracker.pages.owner_door import form_key

DUE = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)  # a Friday, 11:00 in London


def some_task(*, owner_can: bool = False, safety: bool | None = None):
    """Any task of the catalogue that hangs on one kind of part and fits what is asked."""
    return next(
        task
        for task in all_tasks()
        if task.owner_can is owner_can
        and task.on in {"chain", "hub_geared", "air_shock", "brake", "battery"}
        and (safety is None or task.safety is safety)
    )


POSITION = {
    "chain": "chain",
    "hub_geared": "rear-hub",
    "air_shock": "rear-shock",
    "brake": "brake-left",
    "battery": "battery",
}


def trike_with(task, *, months: int = 12, owner: Owner | None = None, later: int = 0) -> Trike:
    """A delivered trike with one part on which `task` falls due `months` after 1 May 2025, or so many days `later`."""
    owner = owner or factories.OwnerFactory(distance_unit="km")
    trike = factories.OwnershipFactory(owner=owner).trike
    fit(trike, task, months=months, later=later)
    return trike


def fit(trike: Trike, task, *, months: int = 12, later: int = 0) -> None:
    """Fit the part that `task` hangs on, with the interval that makes it fall due."""
    component = factories.ComponentFactory(part_type__kind=task.on, state="fitted")
    at = factories.DELIVERED + timedelta(days=later)
    factories.FitmentFactory(trike=trike, component=component, position=POSITION[task.on], fitted_at=at)
    if not ServiceInterval.objects.filter(task=task.code, part_kind=task.on).exists():
        factories.ServiceIntervalFactory(
            task=task.code, part_kind=task.on, every_km=None, every_months=months, early_km=0
        )


@pytest.fixture
def standing_clock(time_machine):
    """The clock stands at NOW."""
    time_machine.move_to(NOW, tick=False)


def token_for(trike: Trike, purpose: str = "page", now: datetime = NOW) -> str:
    """The token of a link for the present owner of a trike."""
    owner = trike.ownerships.get(until=None).owner
    return make_link(trike_id=trike.pk, owner_id=owner.pk, purpose=purpose, now=now)[1]


def phone_of(token: str) -> Client:
    """The owner's phone, strict about forged forms, after the link was opened; `key`: what its forms carry."""
    phone = Client(enforce_csrf_checks=True)
    phone.get(f"/o/{token}")
    phone.key = form_key(token)
    return phone


@dataclass
class Postbox:
    """A channel that keeps what it is given and answers as told."""

    answer: Callable[[Letter], Delivery] = lambda letter: Delivery(Outcome.SENT)
    letters: list[Letter] = field(default_factory=list)

    def send(self, letter: Letter) -> Delivery:
        self.letters.append(letter)
        return self.answer(letter)

    @property
    def mails(self) -> list[EmailMessage]:
        return [message_from_bytes(letter.content, policy=policy.strict) for letter in self.letters]


@pytest.fixture
def postbox() -> Postbox:
    return Postbox()


def dispatch_all(channel, now: datetime, seed: int = 7) -> list:
    """Dispatch until nothing waits."""
    rng, outcomes = random.Random(seed), []
    while (outcome := dispatch_one(channel=channel, now=now, rng=rng)) is not None:
        outcomes.append(outcome)
        assert len(outcomes) < 50, "the dispatcher does not come to an end"
    return outcomes


def days(number: int) -> timedelta:
    return timedelta(days=number)


def text_of(mail: EmailMessage) -> str:
    return mail.get_body(("plain",)).get_content()


def html_of(mail: EmailMessage) -> str:
    return mail.get_body(("html",)).get_content()
