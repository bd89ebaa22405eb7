"""The dispatcher's round: every few seconds, what waits goes out."""

import random
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from celery import shared_task
from django.db import connection, connections
from django.utils import timezone

from tracker.actions.heartbeats import sign_of_life
from tracker.actions.outbox import dispatch_one, settle_lost
from tracker.actions.posting import Channel, Outcome
from tracker.channels import chosen_channel
from tracker.queries.outbox import ready

# A round lasts a little longer than the pause until the next is rung for: while letters wait, somebody sends, and the
# ticker, which does one thing after the other, still comes round to everything else.
MOST_SECONDS = 20
# A mail server takes a tenth of a second and more over each letter, in which we would only wait.
LINES = 4  # letters on their way at once
MANY = 20  # letters that wait before it takes more than one line


@shared_task(name="tracker.dispatch_outbox")
def dispatch_outbox() -> int:
    """Send what waits; return how many messages were dealt with.

    The round ends at the first letter that must wait: the mail server is likely away, and asking it once is enough.
    """
    sign_of_life(name="dispatcher", now=timezone.now())
    settle_lost(now=timezone.now())
    this_round = _Round(chosen_channel(), time.monotonic() + MOST_SECONDS)
    if ready(timezone.now()).count() < MANY or not _may_divide():
        return this_round.send()
    with ThreadPoolExecutor(LINES) as lines:
        return sum(lines.map(lambda _: this_round.send_beside(), range(LINES)))


def _may_divide() -> bool:
    """Whether other threads see what this one does: not inside its transaction, nor where all share one database in memory."""
    in_memory = connection.vendor == "sqlite" and connection.is_in_memory_db()
    return not (connection.in_atomic_block or in_memory)


@dataclass
class _Round:
    """One round: over at its end, or when one of its lines says so."""

    channel: Channel
    end: float
    over: threading.Event = field(default_factory=threading.Event)
    rng: random.Random = field(default_factory=random.SystemRandom)

    def send(self) -> int:
        """Send letter after letter; return how many."""
        count = 0
        while not self.over.is_set() and time.monotonic() < self.end:
            outcome = dispatch_one(channel=self.channel, now=timezone.now(), rng=self.rng)
            if outcome is None:
                break
            count += 1
            if outcome is Outcome.LATER:
                self.over.set()
        return count

    def send_beside(self) -> int:
        """Send in a thread of its own, with its own connection to the database."""
        try:
            return self.send()
        except BaseException:
            self.over.set()
            raise
        finally:
            connections.close_all()
