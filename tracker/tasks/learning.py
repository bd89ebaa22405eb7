"""Once a week the fleet is asked what it knows about riding; the night's sweep takes the answer over, trike by trike."""

import structlog
from celery import shared_task
from django.utils import timezone

from tracker.actions.learning import keep_numbers
from tracker.queries.learning import learn

log = structlog.get_logger(__name__)


@shared_task(name="tracker.learn_fleet")
def learn_fleet() -> None:
    """Learn from the whole record, without holding a transaction open, and keep what came of it."""
    now = timezone.now()
    row = keep_numbers(learned=learn(now), now=now)
    log.info("fleet numbers learned", machines=row.machines, stretches=row.stretches)
