"""Computes every due line afresh from the record and compares it with what is stored."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tracker.actions.reminders import put_right
from tracker.management.progress import Bar
from tracker.models import Component, Trike
from tracker.queries.due import rebuild_differences

PART = 40  # trikes at a time
SHOWN = 20


class Command(BaseCommand):
    """manage.py rebuild_due [--fix]"""

    help = "Compare the stored due list with one computed afresh; ends with 1 if they differ and --fix is not given."

    def add_arguments(self, parser: CommandParser) -> None:
        """Say whether to put right what differs."""
        parser.add_argument("--fix", action="store_true", help="store what was computed")

    def handle(self, *args: Any, **options: Any) -> None:
        """Compare in parts, report, and put right if asked."""
        ids = list(Trike.objects.order_by("pk").values_list("pk", flat=True))
        bar, found = Bar("Due list", self.stderr._out), []
        for start in range(0, len(ids), PART):
            part = ids[start : start + PART]
            differences = rebuild_differences(part)
            found += differences
            if differences and options["fix"]:
                put_right(trike_ids=part, now=timezone.now())
            bar(min(start + PART, len(ids)), len(ids))
        bar.end()
        self._report(found)
        if found and not options["fix"]:
            raise CommandError(f"{len(found)} due lines differ. Add --fix to put them right.", returncode=1)
        self.stdout.write(f"{len(found)} due lines put right." if found else "No difference.")

    def _report(self, found: list[tuple[str, int, str]]) -> None:
        names = {row.pk: str(row) for row in Component.objects.filter(pk__in=[pk for _, pk, _ in found[:SHOWN]])}
        for what, component_id, task in found[:SHOWN]:
            self.stdout.write(f"{what}: {task} on {names.get(component_id, component_id)}")
        if len(found) > SHOWN:
            self.stdout.write(f"... and {len(found) - SHOWN} more")
