"""Several sweeps and several dispatchers at the same time, as real processes on a real database."""

import pytest

from tests.processes import Workshop, filled_workshop

TRIKES = 30

FILL = f"""
from tests.reminders.conftest import some_task, trike_with
from tracker.models import Trike
for _ in range({TRIKES}):
    trike_with(some_task())
Trike.objects.update(due_dirty=True)
"""

COUNT = """
import json
from tracker.models import *
print(json.dumps({
    "visits": Visit.objects.filter(state="open").count(),
    "messages": OutboxMessage.objects.count(),
    "keys": OutboxMessage.objects.values("trike", "visit", "stage").distinct().count(),
    "sent": OutboxMessage.objects.filter(state="sent").count(),
    "attempts": sum(OutboxMessage.objects.values_list("attempts", flat=True)),
    "runs": SweepRun.objects.filter(finished_at__isnull=False).count(),
}))
"""

DISPATCH = """
import random
from django.utils import timezone
from tracker.actions.outbox import dispatch_one
from tracker.channels import chosen_channel
count = 0
while dispatch_one(channel=chosen_channel(), now=timezone.now(), rng=random.Random(1)):
    count += 1
print(count)
"""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """Thirty trikes with work long due, in a database that several processes share; no quiet hours."""
    settings = {"QUIET_FROM_HOUR": "24", "QUIET_UNTIL_HOUR": "0", "SMTP_HOST": ""}
    with filled_workshop(tmp_path_factory.mktemp("at-once"), FILL, **settings) as workshop:
        yield workshop


def count(workshop: Workshop) -> dict[str, int]:
    return workshop.told(COUNT)


@pytest.fixture(scope="module")
def after_sweeps(workshop) -> dict[str, int]:
    workshop.run_at_once(*[("manage.py", "sweep", "--all")] * 3)
    return count(workshop)


def test_three_sweeps_at_once_plan_one_visit_per_trike(after_sweeps):
    assert (after_sweeps["visits"], after_sweeps["runs"]) == (TRIKES, 3)


def test_three_sweeps_at_once_write_one_message_per_trike_visit_and_stage(after_sweeps):
    assert (after_sweeps["messages"], after_sweeps["keys"]) == (TRIKES, TRIKES)


def test_three_dispatchers_at_once_send_each_letter_once(workshop, after_sweeps):
    counts = workshop.run_at_once(*[workshop.script(DISPATCH)] * 3)
    after = count(workshop)
    assert sum(map(int, counts)) == TRIKES
    assert (after["sent"], after["attempts"]) == (TRIKES, TRIKES)
    assert len(list((workshop.folder / "mail").glob("*.eml"))) == TRIKES
