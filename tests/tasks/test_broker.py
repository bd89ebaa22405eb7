"""How workers and beat get on with a broker that is away, slow or full: what makes goal R4 hold by design.

`python -m tests.scores faults --broker` measures it on real processes.
"""

import shutil

import pytest
from celery import current_app
from django.conf import settings as live_settings

from tests.mail_server import free_port
from tests.reminders.conftest import DUE
from tests.scores.fault_broker import Broker
from tracker.celery import LONGEST_WAIT, KnockingConnection, app
from tracker.models import OutboxMessage
from tracker.tasks import outbox
from tracker.tasks.outbox import MOST_SECONDS
from tracker.tasks.sweep import sweep_part

SCHEDULE = live_settings.CELERY_BEAT_SCHEDULE


class Enough(Exception):
    """Knocked often enough."""


def first_wait(**options) -> float:
    """How long the app's connection waits after its first knock at a door that nobody opens."""
    waits = []

    def note(error: Exception, wait: float) -> None:
        waits.append(wait)
        raise Enough

    line = app.amqp.Connection(f"redis://127.0.0.1:{free_port()}/0")
    with pytest.raises(Enough):
        line.ensure_connection(note, None, **options)
    return waits[0]


def test_a_broker_that_is_away_is_knocked_at_soon_and_then_every_five_seconds_at_most():
    """Celery's own waits grow to 30 s: half of the minute within which all must be caught up."""
    assert isinstance(app.connection_for_write(), KnockingConnection)
    assert first_wait() == 1.0
    assert first_wait(interval_start=20.0) == LONGEST_WAIT == 5.0


def test_a_round_of_mail_outlasts_the_pause_until_the_next_and_fits_into_a_task():
    pause = SCHEDULE["dispatch-outbox"]["schedule"]
    assert pause < MOST_SECONDS < live_settings.CELERY_TASK_SOFT_TIME_LIMIT / 2
    assert LONGEST_WAIT + pause <= 20  # from a broker's return to the first letter


@pytest.mark.django_db
def test_a_round_that_is_over_leaves_the_rest_to_the_next(settings, tmp_path, time_machine, monkeypatch):
    settings.MAIL_CHANNEL, settings.MAIL_FOLDER = "folder", tmp_path
    time_machine.move_to(DUE, tick=False)
    for number in range(3):
        OutboxMessage.objects.create(
            key=str(number), kind="found", message_id=f"<{number}@x>", not_before=DUE, created_at=DUE
        )
    monkeypatch.setattr(outbox, "MOST_SECONDS", 0)
    assert outbox.dispatch_outbox() == 0
    assert OutboxMessage.objects.filter(state="waiting").count() == 3


def test_what_rings_again_within_a_minute_is_forgotten_when_nobody_hears_it():
    """Else a weekend without workers leaves a hundred thousand calls that Monday's first has to walk through."""
    often = {name: line for name, line in SCHEDULE.items() if isinstance(line["schedule"], float)}
    assert {"sign-of-life", "dispatch-outbox", "waiting-imports"} <= set(often)
    for name, line in often.items():
        if line["schedule"] <= 60:
            assert 60 < line["options"]["expires"] <= 300, name


def test_what_comes_once_a_night_waits_for_a_worker_however_long():
    assert not [
        name for name, line in SCHEDULE.items() if not isinstance(line["schedule"], float) and "options" in line
    ]


@pytest.mark.skipif(not shutil.which("redis-server"), reason="needs a Redis server of its own")
def test_mail_does_not_wait_behind_the_shards_of_a_sweep(tmp_path, monkeypatch):
    monkeypatch.setattr(current_app.conf, "task_always_eager", False)
    current_app.loader.import_default_modules()
    broker = Broker(tmp_path)
    broker.start()
    try:
        with KnockingConnection(broker.url) as line:
            for number in range(3):
                sweep_part.apply_async((number, [1]), connection=line)
            current_app.tasks["tracker.dispatch_outbox"].apply_async(connection=line)
            names = [line.default_channel.basic_get("celery").headers["task"] for _ in range(4)]
    finally:
        broker.stop()
    assert names == ["tracker.dispatch_outbox", *["tracker.sweep_shard"] * 3]
