"""The desk reads a letter before it goes out; looking writes nothing."""

import pytest

from tests import factories as make
from tests.pages.conftest import logged_in
from tests.reminders.conftest import DUE, days, some_task, trike_with
from tracker.actions.reminders import sweep_trikes
from tracker.models import OutboxMessage, OwnerLink

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("day_it_is_due")]


@pytest.fixture
def day_it_is_due(time_machine):
    time_machine.move_to(DUE, tick=False)


@pytest.fixture
def message() -> OutboxMessage:
    """A reminder that waits."""
    trike = trike_with(some_task(safety=False), owner=make.OwnerFactory(name="Maud Pettersson"))
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return OutboxMessage.objects.get()


def page(message: OutboxMessage) -> str:
    return logged_in("desk").get(f"/messages/{message.pk}/").content.decode()


def test_a_waiting_letter_is_shown_as_it_would_be_written_now(message):
    shown = page(message)
    assert "Its text, as it would be written now" in shown
    assert "Hello Maud Pettersson" in shown
    assert "service is due now" in shown


def test_looking_makes_no_link_and_claims_nothing(message):
    page(message)
    message.refresh_from_db()
    assert (message.state, message.attempts, OwnerLink.objects.count()) == ("waiting", 0, 0)


def test_what_would_not_go_out_says_why(message):
    message.owner.stopped_at = DUE - days(1)
    message.owner.save()
    assert "It would not go out now: The owner gets no reminders by mail." in page(message)


def test_what_was_sent_is_not_written_anew(message):
    OutboxMessage.objects.update(state="sent", sent_at=DUE)
    shown = page(message)
    assert "keeps no copy" in shown
    assert "Hello Maud" not in shown
