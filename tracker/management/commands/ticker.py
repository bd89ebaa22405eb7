"""Runs the background work in one process, where there is no Redis: reminders, mail, imports."""

import os
import signal
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from tracker.celery import app
from tracker.management.beat import Ticker
from tracker.management.pulse import Pulse


class Command(BaseCommand):
    """manage.py ticker"""

    requires_system_checks: list[str] = []  # they load every page; `manage.py check` is in CI
    help = "Run the background work (sweep, mail, imports) in this process until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the option of a parent that started us."""
        parser.add_argument("--parent", type=int, metavar="PID", help="stop when this process is no longer our parent")

    def handle(self, *args: Any, **options: Any) -> None:
        """Tick until SIGINT or SIGTERM."""
        app.loader.import_default_modules()
        settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
        ticker = Ticker(app, settings.CELERY_BEAT_SCHEDULE, settings.DATA_DIR / "ticker.json", Pulse("beat"))
        signal.signal(signal.SIGTERM, ticker.stop)
        signal.signal(signal.SIGINT, ticker.stop)
        parent = options["parent"]
        ticker.run(still_wanted=lambda: parent is None or os.getppid() == parent)
