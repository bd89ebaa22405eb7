"""The one Django app."""

from django.apps import AppConfig
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

from tracker.settings.rules import faults


class TrackerConfig(AppConfig):
    """The workshop's record."""

    name = "tracker"
    verbose_name = "Workshop"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Refuse to start, as web server, worker, beat or command, with settings that lose or double work."""
        wrong = faults(settings)
        if wrong:
            raise ImproperlyConfigured(" ".join(wrong))
