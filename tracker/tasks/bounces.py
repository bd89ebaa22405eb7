"""Reading what came back to our letters, where a mailbox is named for it."""

import hashlib

import structlog
from celery import shared_task
from django.utils import timezone

from services.bounces import read_returned
from tracker.actions.bounces import note_bounce
from tracker.channels.mailbox import MailboxAway, bounce_mailbox

log = structlog.get_logger(__name__)
MOST = 200  # mails a round: the next one reads on


@shared_task(name="tracker.read_bounces")
def read_bounces() -> int:
    """Note what the unread mails of the bounce mailbox say; return how many were read.

    A mail is marked read after it was noted: a crash between reads it again, and the same report counts once.
    """
    mailbox = bounce_mailbox()
    if mailbox is None:
        return 0
    count = 0
    try:
        with mailbox.opened() as unread:
            for number in unread.numbers(MOST):
                _note(unread.content(number))
                unread.done(number)
                count += 1
    except MailboxAway as error:
        log.warning("bounce mailbox away", reason=str(error), read=count)
    return count


def _note(content: bytes) -> None:
    report = hashlib.sha256(content).hexdigest()[:16]
    noted = note_bounce(returned=read_returned(content), report=report, now=timezone.now())
    key = noted.message.key if noted.message else ""
    log.info("mail came back", kind=noted.kind, message=key, stopped=noted.stopped)
