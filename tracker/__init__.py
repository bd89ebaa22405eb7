"""Who, what, when, over which wire: the Django app around `services/`. It fetches rows, calls services, stores."""

from tracker.celery import app as celery_app

__all__ = ["celery_app"]
