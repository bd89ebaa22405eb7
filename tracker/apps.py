"""The one Django app."""

from django.apps import AppConfig


class TrackerConfig(AppConfig):
    """The workshop's record."""

    name = "tracker"
    verbose_name = "Workshop"
    default_auto_field = "django.db.models.BigAutoField"
