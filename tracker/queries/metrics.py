"""What an operator watches: the outbox by state, how long things wait, signs of life. A fixed number of queries."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count

from tracker.models import OutboxMessage, Owner, SweepRun
from tracker.queries.background import running_sweep, signs
from tracker.queries.outbox import backlog
from tracker.queries.reminders import last_sweep


@dataclass(frozen=True)
class Figures:
    """Ages in seconds; None where nothing tells."""

    by_state: dict[str, int]  # every state, also those without a message
    oldest_waiting_s: float
    came_back: int
    dead_addresses: int
    sweep_age_s: float | None
    running: SweepRun | None
    signs_s: dict[str, float]
    silent: dict[str, bool]


def figures(now: datetime) -> Figures:
    """Return the figures at `now`."""
    counted = dict(OutboxMessage.objects.order_by().values_list("state").annotate(Count("pk")))
    last, heard = last_sweep(), signs(now)
    return Figures(
        by_state={state: counted.get(state, 0) for state in OutboxMessage.State.values},
        oldest_waiting_s=backlog(now).oldest.total_seconds(),
        came_back=OutboxMessage.objects.filter(bounced_at__isnull=False).count(),
        dead_addresses=Owner.objects.filter(email_dead_at__isnull=False).count(),
        sweep_age_s=(now - last.finished_at).total_seconds() if last else None,
        running=running_sweep(now),
        signs_s={sign.name: (now - sign.at).total_seconds() for sign in heard if sign.at},
        silent={sign.name: sign.silent for sign in heard},
    )
