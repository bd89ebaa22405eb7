"""Keeping what the fleet taught. Trikes take the new numbers over with the sweep, each together with its due lines."""

from datetime import datetime

from tracker.actions.transactions import action
from tracker.models import FleetNumbers
from tracker.queries.learning import Learned


@action
def keep_numbers(*, learned: Learned, now: datetime) -> FleetNumbers:
    """Write fleet numbers down as the newest. They were computed before, outside of any transaction."""
    return FleetNumbers.objects.create(
        learned_at=now, machines=learned.machines, stretches=learned.stretches, numbers=learned.numbers,
        backtest=learned.backtest,
    )  # fmt: skip
