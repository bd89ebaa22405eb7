"""Every night released bulletins are matched with the record again: what was written past the actions, what falls due again."""

import structlog
from celery import shared_task
from django.utils import timezone

from tracker.actions.bulletins import match_all

log = structlog.get_logger(__name__)


@shared_task(name="tracker.match_bulletins")
def match_bulletins() -> None:
    """Match them one after the other, a transaction each."""
    log.info("bulletins matched", trikes=match_all(now=timezone.now()))
