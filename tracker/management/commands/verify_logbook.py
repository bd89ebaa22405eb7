"""Walks every trike's logbook and names the first entry that was changed, removed or slipped in."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from tracker.models import LogEntry, Photo, Trike
from tracker.queries.logbook import broken_chains
from tracker.queries.photos import photo_faults


class Command(BaseCommand):
    """manage.py verify_logbook"""

    help = "Check the chain of every trike's logbook; ends with 1 if one is broken."

    def handle(self, *args: Any, **options: Any) -> None:
        """Report each broken chain by its trike and first bad entry."""
        broken = list(broken_chains())
        names = dict(Trike.objects.filter(pk__in=[pk for pk, _ in broken]).values_list("pk", "frame_serial"))
        for trike_id, first in broken:
            self.stdout.write(f"Trike {names.get(trike_id, trike_id)}: entry {first.seq}: {first.why}")
        faults = self._photos()
        if broken:
            raise CommandError(f"The logbooks of {len(broken)} trikes do not hold.", returncode=1)
        if faults:
            raise CommandError(f"{faults} photos do not hold.", returncode=1)
        trikes = LogEntry.objects.values("trike").distinct().count()
        self.stdout.write(f"All hold: {LogEntry.objects.count()} entries of {trikes} trikes.")

    def _photos(self) -> int:
        """Report each photo that is not what was taken in, or signed; return how many."""
        faults = 0
        for fault in photo_faults():
            self.stdout.write(f"Card {fault.card}, {fault.photo}: {fault.why}")
            faults += 1
        count = Photo.objects.count()
        if count and not faults:
            self.stdout.write(f"{count} photos hold: each file is the one that was taken in.")
        return faults
