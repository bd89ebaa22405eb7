"""The bounce mailbox, over a real connection."""

import pytest
import time_machine
from celery import current_app

from tests.mail_server import free_port
from tests.reminders.conftest import DUE, dispatch_all, postbox, some_task, trike_with  # noqa: F401
from tests.services.bounce_samples import SENDER, answer, dsn, fields
from tests.tasks.imap_server import mailbox_with
from tracker.actions.reminders import sweep_trikes
from tracker.models import OutboxMessage

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _standing_clock():
    with time_machine.travel(DUE, tick=False):
        yield


@pytest.fixture
def sent(settings, postbox) -> tuple[OutboxMessage, bytes]:  # noqa: F811
    """A reminder that went out, and the report that nobody is there."""
    settings.BOUNCE_ADDRESS = "bounce@larkfen.example.org"
    sweep_trikes(trike_ids=[trike_with(some_task()).pk], now=DUE)
    dispatch_all(postbox, DUE)
    report = dsn(fields("failed", "5.1.1")).replace(SENDER.encode(), postbox.letters[0].sender.encode())
    return OutboxMessage.objects.get(), report


def point_at(settings, port: int, password: str = "right") -> None:
    settings.BOUNCE_IMAP_HOST, settings.BOUNCE_IMAP_PORT, settings.BOUNCE_IMAP_TLS = "127.0.0.1", port, False
    settings.BOUNCE_IMAP_USER, settings.BOUNCE_IMAP_PASSWORD = "bounces", password


def read() -> int:
    current_app.loader.import_default_modules()
    return current_app.tasks["tracker.read_bounces"].apply(throw=True).result


def test_without_a_mailbox_nothing_is_read():
    assert read() == 0


def test_a_report_in_the_mailbox_stops_the_address_and_is_marked_read(settings, sent):
    message, report = sent
    with mailbox_with(report, answer("Out of office")) as server:
        point_at(settings, server.server_address[1])
        assert (read(), read()) == (2, 0)
    assert server.seen == {1, 2}
    message.owner.refresh_from_db()
    assert message.owner.email_dead_at == DUE


def test_read_again_after_a_crash_the_report_counts_once(settings, sent):
    message, report = sent
    with mailbox_with(report) as server:
        point_at(settings, server.server_address[1])
        server.hang_up_at = "STORE"
        assert read() == 0
        server.hang_up_at = ""
        assert read() == 1
    message.refresh_from_db()
    assert len(message.payload["returns"]) == 1


@pytest.mark.parametrize("what", ["away", "password", "folder", "hangs up"])
def test_a_mailbox_that_cannot_be_read_stops_nothing(settings, sent, what):
    with mailbox_with(sent[1]) as server:
        point_at(settings, server.server_address[1])
        if what == "away":
            settings.BOUNCE_IMAP_PORT = free_port()
        elif what == "password":
            settings.BOUNCE_IMAP_PASSWORD = "wrong"
        elif what == "folder":
            settings.BOUNCE_IMAP_FOLDER = 'No such "one"'
        else:
            server.hang_up_at = "FETCH"
        assert read() == 0
        assert server.seen == set()


def test_a_server_that_speaks_no_tls_is_not_read(settings, sent):
    with mailbox_with(sent[1]) as server:
        point_at(settings, server.server_address[1])
        settings.BOUNCE_IMAP_TLS = True
        assert read() == 0
