"""What every rule of the random walk needs: a clock, a person, and a way to call an action as the doors do."""

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine

from services.errors import Refusal
from tests.actions.random_workshop import BEGUN, Workshop
from tracker.models import Component, JobCard

FATES = [state for state in Component.State.values if state != Component.State.FITTED]

some = st.integers(0, 9_999)  # which row, counted round
back = st.sampled_from([0, 0, 0, 5, 60, 1_440, 20_000, 100_000])  # how many minutes ago
ridden = st.floats(0, 60).map(lambda km: round(km, 1))
shown = st.one_of(st.floats(0, 12_000).map(lambda km: round(km, 2)), st.integers(0, 12_000))


def pick(rows: Any, number: int) -> Any:
    """Return one of the rows, counted round, or None where there is none."""
    rows = list(rows if isinstance(rows, Sequence) else rows.order_by("pk"))
    return rows[number % len(rows)] if rows else None


class Machine(RuleBasedStateMachine):
    """Any order of any actions. A refusal is an answer; every other error is a fault."""

    def __init__(self, workshop: Workshop, tally: Counter[str]) -> None:
        super().__init__()
        self.workshop, self.tally = workshop, tally
        self.by = workshop.people[0]
        self.now = BEGUN + timedelta(days=1)
        self.has_open_card = False
        self.savepoint = transaction.savepoint()

    def teardown(self) -> None:
        transaction.savepoint_rollback(self.savepoint)

    def act(self, function: Callable[..., Any], **values: Any) -> Any:
        self.now += timedelta(minutes=3)
        name = function.__name__
        try:
            answer = function(now=self.now, **values)
        except Refusal:
            self.tally[f"{name} refused"] += 1
            return None
        self.tally[name] += 1
        self.has_open_card = JobCard.objects.filter(state="draft").exists()
        return answer

    def ago(self, minutes: int) -> datetime:
        return self.now - timedelta(minutes=minutes)
