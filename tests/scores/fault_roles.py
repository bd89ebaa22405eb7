"""The processes of a fault run: how each is started, whether it is up, how it is killed."""

import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from tests.mail_server import free_port
from tests.processes import Workshop
from tests.scores.fault_broker import Broker

# Trikes whose yearly service is overdue as soon as somebody records a reading: that makes the due line.
FILL = """
import json
from tests.reminders.conftest import some_task, trike_with
from tests import factories
factories.OwnershipFactory()  # to whom the feeder's safety notices go
print(json.dumps([trike_with(some_task()).pk for _ in range({trikes})]))
"""
UP = """
import os, time
from pathlib import Path
from celery import current_app
from django.db import close_old_connections
from django.utils import timezone
import tracker.celery
tracker.celery.app.loader.import_default_modules()
up = Path(os.environ["FAULTS_FOLDER"], f"up-{os.getpid()}")
"""
LOOP = (
    UP
    + """
up.touch()
while True:
    current_app.tasks["TASK"].apply(throw=True)
    close_old_connections()
    time.sleep(PAUSE)
"""
)
BELL = (
    UP
    + """
while True:
    try:
        current_app.tasks["tracker.sweep"].delay()
        current_app.tasks["tracker.dispatch_outbox"].delay()
    except Exception:
        pass
    up.touch()
    time.sleep(2.0)  # a sweep takes a second or so: rung for more often, workers would do nothing else
"""
)
RECOVER = """
import random
from datetime import timedelta
from django.utils import timezone
from tracker.actions.outbox import dispatch_one, settle_lost
from tracker.actions.reminders import run_sweep
from tracker.channels import chosen_channel
now = timezone.now() + timedelta(hours={hours})
settle_lost(now=now)
run_sweep(now=timezone.now())
while dispatch_one(channel=chosen_channel(), now=now, rng=random.Random(1)):
    pass
"""
BOOKS = """
import json
from django.db.models import Count
from tracker.models import *
from tracker.queries.outbox import needs_a_person
stages = OutboxMessage.objects.exclude(kind="safety").values("trike", "stage").annotate(n=Count("pk")).filter(n__gt=1)
visits = Visit.objects.filter(state="open").values("trike").annotate(n=Count("pk")).filter(n__gt=1)
read = set(OdometerReading.objects.values_list("trike_id", flat=True))
told = set(OutboxMessage.objects.exclude(kind="safety").values_list("trike_id", flat=True))
print(json.dumps({
    "readings": [[trike, float(value)] for trike, value in OdometerReading.objects.values_list("trike_id", "value")],
    "entries": LogEntry.objects.filter(kind="reading").count(),
    "messages": list(OutboxMessage.objects.values("message_id", "kind", "state")),
    "listed": [row.message_id for row in needs_a_person()],
    "unreminded": len(read - told),
    "doubled": stages.count() + visits.count(),
}))
"""

BEHIND = """
from tracker.models import *
told = OutboxMessage.objects.exclude(kind="safety").values("trike_id")
print(OutboxMessage.objects.filter(state__in=["waiting", "sending"]).count()
      + OdometerReading.objects.exclude(trike_id__in=told).count())
"""


def feeder(count: int) -> str:
    """Return a script that writes safety notices, each in a transaction; it is not killed, only asked to stop."""
    return f"""
import time
from django.utils import timezone
from tests import factories
from tracker.models import Ownership
ownership = Ownership.objects.order_by("pk").first()
for number in range({count}):
    factories.OutboxMessageFactory(
        trike=ownership.trike, owner=ownership.owner, kind="safety", key=f"safety:{{number}}", not_before=timezone.now(),
        message_id=f"<safety-{{number}}@larkfen.example.org>", payload={{"subject": "Stop", "paragraphs": ["Stop."]}},
    )
    time.sleep(0.7)
"""


class Roles:
    """Web server, dispatcher, sweeping worker and ticker; or with Redis, Celery's worker and beat."""

    def __init__(self, workshop: Workshop, broker: Broker | None) -> None:
        self.workshop, self.port, self.broker = workshop, free_port(), broker
        self.running: dict[str, subprocess.Popen] = {}
        self.since: dict[str, float] = {}
        self.commands = {
            "web": ["-m", "gunicorn", "tracker.wsgi:application", "--bind", f"127.0.0.1:{self.port}", "--workers", "1",
                    "--threads", "4", "--no-control-socket", "--log-level", "critical"],
            "dispatcher": self._loop("tracker.dispatch_outbox", 0.05),
            "worker": self._loop("tracker.sweep", 3.0),
            "beat": ["manage.py", "ticker"],
        }  # fmt: skip
        if broker:
            celery = ["-m", "celery", "-A", "tracker"]
            schedule = str(workshop.folder / "beat-schedule")
            self.commands |= {
                "worker": [*celery, "worker", "--concurrency", "2", "--loglevel", "critical", "--without-mingle"],
                "beat": [*celery, "beat", "--loglevel", "critical", "--pidfile", "", "--schedule", schedule],
                "bell": list(workshop.script(BELL)),
            }
            del self.commands["dispatcher"]  # the workers send, when the bell or beat tells them to
        self.names = list(self.commands)
        self.feeder: subprocess.Popen | None = None

    def _loop(self, task: str, pause: float) -> list[str]:
        return list(self.workshop.script(LOOP.replace("TASK", task).replace("PAUSE", str(pause))))

    def start_all(self, feeder_script: str) -> None:
        """Start every process, and the feeder."""
        for name in self.names:
            self._start(name)
        self.feeder = self._process(list(self.workshop.script(feeder_script)))

    def _start(self, name: str) -> None:
        self.running[name] = self._process(self.commands[name])
        self.since[name] = time.monotonic()

    def _process(self, command: list[str]) -> subprocess.Popen:
        return subprocess.Popen(
            [sys.executable, *command], cwd=self.workshop.root, env=self.workshop.environment, start_new_session=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def wait_until_up(self, seconds: float) -> None:
        """Wait for all of them. Raises AssertionError."""
        end = time.monotonic() + seconds
        while not all(self.is_up(name) for name in self.names):
            assert time.monotonic() < end, [name for name in self.names if not self.is_up(name)]
            time.sleep(0.1)

    def is_up(self, name: str) -> bool:
        """Whether a process has begun its work; one that ended by itself is started again and told."""
        process = self.running[name]
        if process.poll() is not None:
            print(f"{name} ended by itself with {process.returncode}")
            self._start(name)
            return False
        if name == "web":
            return self._answers()
        if process.args[1] == "-c":
            return Path(self.workshop.folder, f"up-{process.pid}").exists()
        if name == "worker" and self.broker is not None and self.broker.process is not None:
            return self.broker.is_listened_to()
        return time.monotonic() - self.since[name] > 4.0

    def _answers(self) -> bool:
        try:
            return urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=1).status == 200
        except (urllib.error.URLError, OSError):
            return False

    def kill_and_start(self, name: str) -> None:
        """Kill the process with its children at once, and start it anew."""
        self._kill(self.running[name])
        self._start(name)

    @staticmethod
    def _kill(process: subprocess.Popen) -> None:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def stop_feeder(self) -> None:
        """No more safety notices."""
        if self.feeder and self.feeder.poll() is None:
            self._kill(self.feeder)

    def stop(self) -> None:
        """Kill what runs."""
        for process in [*self.running.values(), *([self.feeder] if self.feeder else [])]:
            if process.poll() is None:
                self._kill(process)
