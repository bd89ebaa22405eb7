"""The embedded runner: the beat schedule of the settings, carried out in this one process, without any broker."""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import structlog
from celery import Celery
from celery.schedules import BaseSchedule, maybe_schedule
from django.db import close_old_connections

LONGEST_SLEEP = 0.5  # seconds, so that a stop is heard soon
SLOW = 5.0  # seconds after which a task is worth a line in the log

log = structlog.get_logger(__name__)


@dataclass
class Entry:
    """One line of the schedule and when it last ran."""

    name: str
    task: str
    schedule: BaseSchedule
    last_run: datetime

    def wait(self) -> float:
        """Seconds until it is due; 0 or less when it is."""
        due, seconds = self.schedule.is_due(self.last_run)
        return 0.0 if due else seconds


class Ticker:
    """Runs each entry when it is due, one after the other. What an entry raises is logged and never stops the rest.

    When an entry last ran is kept in `memory`, so that a night's sweep missed while the machine was off is made up for
    at the next start.
    """

    def __init__(
        self, app: Celery, schedule: dict[str, dict[str, Any]], memory: Path, alive: Callable[[], None] = lambda: None
    ) -> None:
        self.app, self.alive = app, alive
        self.memory = memory
        known = _recall(memory)
        never = datetime(2000, 1, 1, tzinfo=UTC)
        self.entries = [
            Entry(name, line["task"], maybe_schedule(line["schedule"], app=app), known.get(name, never))
            for name, line in schedule.items()
        ]
        self.stopping = False

    def run(self, still_wanted: Callable[[], bool] = lambda: True) -> None:
        """Tick until stopped, or until `still_wanted` says no."""
        while not self.stopping and still_wanted():
            wait = self.tick()
            if not self.stopping:
                time.sleep(min(max(wait, 0.05), LONGEST_SLEEP))

    def stop(self, *_: Any) -> None:
        """Stop after the entry that runs now. Fits as a signal handler."""
        self.stopping = True

    def tick(self) -> float:
        """Run what is due; return the seconds until the next entry is."""
        self.alive()
        for entry in self.entries:
            if entry.wait() <= 0 and not self.stopping:
                self._run(entry)
        return min((entry.wait() for entry in self.entries), default=LONGEST_SLEEP)

    def _run(self, entry: Entry) -> None:
        entry.last_run = self.app.now()
        begun = time.monotonic()
        close_old_connections()
        try:
            self.app.tasks[entry.task].apply(throw=True)
        except Exception:
            log.exception("task failed", task=entry.task)
        finally:
            close_old_connections()
        seconds = time.monotonic() - begun
        if seconds > SLOW:
            log.info("task took its time", task=entry.task, seconds=round(seconds, 1))
        self._remember()

    def _remember(self) -> None:
        half = self.memory.with_suffix(".half")
        half.write_text(json.dumps({entry.name: entry.last_run.isoformat() for entry in self.entries}))
        half.replace(self.memory)


def _recall(memory: Path) -> dict[str, datetime]:
    """When each entry last ran. A file that cannot be read counts as none: running once too often harms nothing."""
    try:
        return {name: datetime.fromisoformat(text) for name, text in json.loads(memory.read_text()).items()}
    except (OSError, ValueError, AttributeError, TypeError):
        return {}
