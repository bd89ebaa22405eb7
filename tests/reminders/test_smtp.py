"""Over a real connection to a mail server on this machine."""

import random
from datetime import timedelta

import pytest

from tests.mail_server import free_port, listening, point_settings_at
from tests.reminders.conftest import DUE, dispatch_all, some_task, trike_with
from tracker.actions.outbox import MOST_ATTEMPTS, dispatch_one
from tracker.actions.posting import Letter, Outcome
from tracker.actions.reminders import sweep_trikes
from tracker.channels import FolderChannel, SmtpChannel, chosen_channel
from tracker.models import OutboxMessage
from tracker.queries.outbox import kept_letter, needs_a_person

LETTER = Letter(
    message_id="<1@example.org>", sender="a@example.org", recipient="b@example.org", content=b"Subject: x\r\n\r\ny\r\n"
)


@pytest.fixture
def port(settings) -> int:
    point_settings_at(settings, free_port())
    return settings.EMAIL_PORT


@pytest.fixture
def server(port):
    with listening(port) as handler:
        yield handler


@pytest.fixture
def message(db) -> OutboxMessage:
    trike = trike_with(some_task())
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return OutboxMessage.objects.get()


def test_one_mail_arrives_and_sweeping_twice_brings_no_second(server, message):
    sweep_trikes(trike_ids=[message.trike_id], now=DUE)
    dispatch_all(chosen_channel(), DUE)
    sweep_trikes(trike_ids=[message.trike_id], now=DUE)
    dispatch_all(chosen_channel(), DUE)
    assert [envelope.rcpt_tos for envelope in server.took] == [[message.owner.email]]
    assert message.message_id.encode() in server.took[0].content


def test_a_refused_recipient_is_a_dead_address_and_the_desk_sees_it(server, message):
    server.to_recipient = "550 5.1.1 No such user here"
    assert dispatch_all(SmtpChannel(), DUE) == [Outcome.DEAD]
    shown = needs_a_person().get()
    assert "No such user here" in shown.last_error
    assert shown.owner.email_dead_at == DUE


@pytest.mark.parametrize(
    ("step", "answer", "outcome"),
    [
        ("to_recipient", "450 4.2.1 Mailbox busy", Outcome.LATER),
        ("to_sender", "451 4.3.0 Try again", Outcome.LATER),
        ("to_sender", "550 5.7.1 Not from you", Outcome.REFUSED),
        ("to_letter", "452 4.2.2 Mailbox full", Outcome.LATER),
        ("to_letter", "554 5.6.0 Not this letter", Outcome.REFUSED),
        ("to_letter", "hang up", Outcome.UNKNOWN),
        ("to_letter", "250 OK", Outcome.SENT),
    ],
)
def test_the_servers_answer_says_whether_it_was_sent(server, step, answer, outcome):
    setattr(server, step, answer)
    delivery = SmtpChannel().send(LETTER)
    assert delivery.outcome is outcome
    assert outcome in {Outcome.SENT, Outcome.UNKNOWN} or answer[4:] in delivery.note


def test_no_connection_is_tried_again_until_it_is_shown_as_failed(port, message):
    now, rng = DUE, random.Random(5)
    outcomes = []
    for _ in range(MOST_ATTEMPTS):
        outcomes.append(dispatch_one(channel=SmtpChannel(), now=now, rng=rng))
        message.refresh_from_db()
        now = max(now, message.not_before) + timedelta(seconds=1)
    assert outcomes == [Outcome.LATER] * MOST_ATTEMPTS
    assert [row.pk for row in needs_a_person()] == [message.pk]
    assert "No connection to the mail server" in message.last_error


def test_a_server_that_comes_back_gets_the_letter(port, message):
    assert dispatch_all(SmtpChannel(), DUE) == [Outcome.LATER]
    with listening(port) as handler:
        assert dispatch_all(SmtpChannel(), DUE + timedelta(minutes=6)) == [Outcome.SENT]
    assert len(handler.took) == 1


def test_an_address_with_letters_the_server_cannot_take_is_refused(server):
    letter = Letter(message_id="<1@x>", sender="a@example.org", recipient="zoë@example.org", content=LETTER.content)
    assert SmtpChannel().send(letter).outcome is Outcome.REFUSED


def test_without_a_mail_server_letters_are_kept_in_a_folder_the_desk_can_open(settings, tmp_path, message):
    settings.MAIL_CHANNEL, settings.MAIL_FOLDER = "folder", tmp_path / "mail"
    dispatch_all(chosen_channel(), DUE)
    message.refresh_from_db()
    assert message.message_id.encode() in kept_letter(message)


def test_a_letter_kept_again_replaces_itself_and_its_name_is_safe(tmp_path):
    letter = Letter(message_id="<../../a b;1@x>", sender="", recipient="", content=b"one")
    for _ in range(2):
        assert FolderChannel(tmp_path).send(letter).file_name == "ab1.eml"
    assert [path.name for path in tmp_path.iterdir()] == ["ab1.eml"]


def test_a_folder_that_cannot_be_written_is_a_reason_to_try_later(tmp_path):
    (tmp_path / "mail").write_text("a file where the folder should be")
    assert FolderChannel(tmp_path / "mail").send(LETTER).outcome is Outcome.LATER


def test_a_message_without_a_kept_file_has_none_to_open(message):
    assert kept_letter(message) is None
    message.file_name = "gone.eml"
    assert kept_letter(message) is None
