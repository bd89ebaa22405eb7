"""The dispatcher's round: every few seconds, what waits goes out."""

import random
import time

from celery import shared_task
from django.utils import timezone

from tracker.actions.heartbeats import sign_of_life
from tracker.actions.outbox import dispatch_one, settle_lost
from tracker.actions.posting import Outcome
from tracker.channels import chosen_channel

MOST_LETTERS = 200  # a round
MOST_SECONDS = 120  # well inside the task's time limit


@shared_task(name="tracker.dispatch_outbox")
def dispatch_outbox() -> int:
    """Send what waits; return how many messages were dealt with.

    The round ends at the first letter that must wait: the mail server is likely away, and asking it once is enough.
    """
    sign_of_life(name="dispatcher", now=timezone.now())
    settle_lost(now=timezone.now())
    channel, rng, end = chosen_channel(), random.SystemRandom(), time.monotonic() + MOST_SECONDS
    count = 0
    while count < MOST_LETTERS and time.monotonic() < end:
        outcome = dispatch_one(channel=channel, now=timezone.now(), rng=rng)
        if outcome is None:
            break
        count += 1
        if outcome is Outcome.LATER:
            break
    return count
