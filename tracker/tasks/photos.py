"""The photo folder, tidied at night."""

from celery import shared_task
from django.utils import timezone

from tracker.actions.photos import forget_lost_files


@shared_task(name="tracker.forget_lost_photos")
def forget_lost_photos() -> int:
    """Remove files that no photo owns, left by a crash between file and record; return how many."""
    return forget_lost_files(now=timezone.now())
