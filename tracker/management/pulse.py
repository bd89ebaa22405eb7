"""A process writes once a minute that it lives; a database that is away does not stop it."""

import time

import structlog
from celery.beat import PersistentScheduler
from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from tracker.actions.heartbeats import sign_of_life

EVERY = 60.0  # seconds

log = structlog.get_logger(__name__)


class Pulse:
    """Call it as often as you like."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.due = 0.0

    def __call__(self) -> None:
        """Write a sign of life when it is time."""
        if time.monotonic() < self.due:
            return
        self.due = time.monotonic() + EVERY
        close_old_connections()
        try:
            sign_of_life(name=self.name, now=timezone.now())
        except DatabaseError as error:
            log.warning("no sign of life could be written", name=self.name, error=type(error).__name__)
        finally:
            close_old_connections()


class LivingScheduler(PersistentScheduler):
    """Celery's beat, which also says that it lives."""

    pulse = Pulse("beat")

    def tick(self, *args, **kwargs) -> float:
        """Hand out what is due; return the seconds until the next entry is."""
        wait = super().tick(*args, **kwargs)
        self.pulse()
        return wait
