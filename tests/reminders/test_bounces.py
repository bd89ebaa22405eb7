"""Letters that come back: which letter it was, and that an address that does not work is written to no more."""

from datetime import timedelta

import pytest

from services.bounces import Kind, Returned, read_returned
from tests import factories
from tests.reminders.conftest import DUE, days, dispatch_all, some_task, trike_with
from tests.services.bounce_samples import SAMPLES, dsn, fields
from tracker.actions.bounces import note_bounce
from tracker.actions.owners import change_owner
from tracker.actions.posting import token_in
from tracker.actions.reminders import sweep_trikes
from tracker.models import OutboxMessage, Owner

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def sender_addresses(settings):
    settings.BOUNCE_ADDRESS = "bounce@larkfen.example.org"


@pytest.fixture
def message(postbox) -> OutboxMessage:
    """A reminder that went out at DUE."""
    sweep_trikes(trike_ids=[trike_with(some_task()).pk], now=DUE)
    dispatch_all(postbox, DUE)
    return OutboxMessage.objects.get()


def back(message, kind: Kind = Kind.HARD, status: str = "5.1.1", *, now=DUE, report: str = "one"):
    returned = Returned(kind, status, note="550 No such user", message_ids=(message.message_id,))
    return note_bounce(returned=returned, report=report, now=now)


def send_more(owner: Owner, now, **values) -> OutboxMessage:
    trike = trike_with(some_task(), owner=owner)
    return factories.OutboxMessageFactory(trike=trike, owner=owner, not_before=now, **values)


def test_every_letter_has_a_sender_address_of_its_own(message, postbox):
    local, _, domain = postbox.letters[0].sender.partition("@")
    assert (local.partition("+")[0], domain) == ("bounce", "larkfen.example.org")
    assert message.message_id.startswith(f"<{token_in(postbox.letters[0].sender)}@")


def test_without_a_bounce_address_the_sender_is_the_workshop(settings, postbox):
    settings.BOUNCE_ADDRESS = ""
    sweep_trikes(trike_ids=[trike_with(some_task()).pk], now=DUE)
    dispatch_all(postbox, DUE)
    assert postbox.letters[0].sender == "service@larkfen.example.org"
    assert token_in(postbox.letters[0].sender) == ""


@pytest.mark.parametrize(
    "address", ["bounce@larkfen.example.org", "bounce+x@larkfen.example.org", "bounce+" + "0" * 32 + "@example.org"]
)
def test_other_addresses_carry_no_token(address):
    assert token_in(address) == ""


def test_a_report_to_that_address_stops_the_owners_address_at_once(message, postbox):
    mail = dsn(fields("failed", "5.1.1", "550 5.1.1 No such user"))
    mail = mail.replace(
        b"bounce+5f0c1c5e7f0a4b079d7e1d3f2a9c0001@larkfen.example.org", postbox.letters[0].sender.encode()
    )
    noted = note_bounce(returned=read_returned(mail), report="one", now=DUE)
    message.refresh_from_db()
    assert (noted.message.pk, noted.stopped, message.bounced_at) == (message.pk, True, DUE)
    assert message.owner.email_dead_at == DUE
    assert message.bounce_note == "does not arrive: 550 5.1.1 No such user"


def test_after_a_hard_bounce_nothing_is_sent(message, postbox):
    """Goal R20: a routine reminder is dropped, a safety notice stays on the desk's list."""
    back(message)
    routine, safety = send_more(message.owner, DUE), send_more(message.owner, DUE, kind="safety")
    dispatch_all(postbox, DUE + days(1))
    sweep_trikes(trike_ids=[message.trike_id], now=DUE + days(40))
    dispatch_all(postbox, DUE + days(41))
    routine.refresh_from_db()
    safety.refresh_from_db()
    assert (len(postbox.letters), routine.state, safety.state) == (1, "dropped", "failed")
    assert "by telephone" in safety.last_error


@pytest.mark.parametrize("kind", [Kind.DELAYED, Kind.AUTO_REPLY, Kind.OTHER])
def test_what_says_nothing_about_the_address_changes_nothing(message, kind):
    noted = back(message, kind, "4.4.1")
    message.refresh_from_db()
    assert (noted.message, noted.stopped, message.bounced_at) == (message, False, None)


def test_a_full_mailbox_is_soft_whatever_its_first_digit(message):
    assert back(message, Kind.HARD, "5.2.2").kind is Kind.SOFT


def test_three_soft_ones_within_72_hours_are_a_hard_one(message):
    stopped = [
        back(message, Kind.SOFT, "4.2.2", now=DUE + hours * HOUR, report=str(hours)).stopped for hours in (0, 30, 71)
    ]
    assert stopped == [False, False, True]


def test_three_soft_ones_over_more_than_72_hours_are_not(message):
    for hours in (0, 40, 73):
        back(message, Kind.SOFT, "4.2.2", now=DUE + hours * HOUR, report=str(hours))
    assert Owner.objects.get().email_dead_at is None


def test_the_same_report_read_again_counts_once(message):
    for _ in range(3):
        back(message, Kind.SOFT, "4.2.2")
    assert Owner.objects.get().email_dead_at is None
    assert len(OutboxMessage.objects.get().payload["returns"]) == 1


def test_a_mail_loop_does_not_fill_the_record(message):
    for number in range(40):
        back(message, Kind.SOFT, "4.2.2", report=str(number))
    assert len(OutboxMessage.objects.get().payload["returns"]) == 20


def test_a_complaint_stops_reminders_and_leaves_the_address(message):
    assert back(message, Kind.COMPLAINT, "").stopped
    owner = Owner.objects.get()
    assert (owner.stopped_at, owner.email_dead_at) == (DUE, None)


def test_a_late_bounce_does_not_stop_an_address_given_since(message):
    owner = message.owner
    owner.refresh_from_db()
    change_owner(owner_id=owner.pk, version=owner.version, changes={"email": "new@example.net"}, by=None, now=DUE)
    assert not back(message).stopped
    assert Owner.objects.get().email_dead_at is None


def test_a_report_about_no_letter_of_ours_changes_nothing(message):
    stranger = Returned(Kind.HARD, "5.1.1", message_ids=("<x@example.org>",))
    assert note_bounce(returned=stranger, report="one", now=DUE).message is None
    assert note_bounce(returned=Returned(Kind.HARD), report="one", now=DUE).message is None
    assert Owner.objects.get().email_dead_at is None


def test_a_bounce_of_what_went_to_the_desk_is_noted_on_it(db):
    message = factories.OutboxMessageFactory(trike=None, owner=None, kind="found", state="sent")
    assert not back(message).stopped
    message.refresh_from_db()
    assert message.bounced_at == DUE


def test_letters_of_control_in_a_report_do_not_reach_the_record(message):
    returned = Returned(Kind.HARD, "5.1.1", note="a\0b\u202e\ud800c", message_ids=(message.message_id,))
    note_bounce(returned=returned, report="one", now=DUE)
    assert "\0" not in OutboxMessage.objects.get().bounce_note


@pytest.mark.parametrize("name", SAMPLES)
def test_every_sample_is_taken_without_a_crash(message, name):
    note_bounce(returned=read_returned(SAMPLES[name][0]), report=name, now=DUE)
