"""The Celery app. Its settings, with their reasons, stand in tracker/settings/base.py."""

import os
from typing import Any

from celery import Celery
from celery.app.amqp import AMQP
from kombu import Connection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.base")

LONGEST_WAIT = 5.0  # seconds between two knocks at a broker that is away


class KnockingConnection(Connection):
    """Knocks at a broker that is away after 1, 2, 3, 4 and then every 5 seconds.

    Celery waits longer each time, up to 30 s, and has no setting for it: so long would all work wait after the broker
    is back. A knock at a closed door costs next to nothing.
    """

    def ensure_connection(self, *args: Any, **options: Any) -> Connection:
        """Return the connection once it stands."""
        waits = {"interval_start": 1.0, "interval_step": 1.0, "interval_max": LONGEST_WAIT}
        return super().ensure_connection(*args, **{**waits, **options})


class KnockingAMQP(AMQP):
    """How this app reaches its broker."""

    Connection = KnockingConnection


app = Celery("tracker", amqp=KnockingAMQP)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["tracker"])
