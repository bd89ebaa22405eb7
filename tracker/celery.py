"""The Celery app. Its settings, with their reasons, stand in tracker/settings/base.py."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.base")

app = Celery("tracker")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["tracker"])
