"""The sign of life of whoever works tasks."""

from celery import shared_task
from django.utils import timezone

from tracker.actions.heartbeats import sign_of_life


@shared_task(name="tracker.heartbeat")
def heartbeat() -> None:
    """Write that a worker works."""
    sign_of_life(name="worker", now=timezone.now())
