"""Runs the nightly sweep now."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from tracker.actions.reminders import run_sweep
from tracker.management.progress import Bar


class Command(BaseCommand):
    """manage.py sweep [--all]"""

    help = "Bring due lines up to date, plan visits and write reminders into the outbox."

    def add_arguments(self, parser: CommandParser) -> None:
        """Say how much to sweep."""
        parser.add_argument("--all", action="store_true", help="every trike, not only those that may have work due")

    def handle(self, *args: Any, **options: Any) -> None:
        """Sweep and say what came of it."""
        bar = Bar("Sweep", self.stderr._out)
        run = run_sweep(now=timezone.now(), everything=options["all"], tell=bar)
        bar.end()
        self.stdout.write(
            f"{run.trikes_done} trikes, {run.visits_planned} visits planned or changed, "
            f"{run.messages_written} messages written, {run.differences} due lines put right."
        )
