"""Walks every trike's logbook and names the first entry that was changed, removed or slipped in; or checks one passport."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from services.chain_code import BadCode
from tracker.models import LogEntry, Photo, Trike
from tracker.queries.logbook import broken_chains
from tracker.queries.passport_code import check_code
from tracker.queries.photos import photo_faults


class Command(BaseCommand):
    """manage.py verify_logbook [--code 'XXXX-XXXX-XXXX-XXXX-XXXX-XXXX']"""

    help = "Check the chain of every trike's logbook, or a passport's code; ends with 1 if something does not hold."

    def add_arguments(self, parser: CommandParser) -> None:
        """The code printed on a service passport."""
        parser.add_argument("--code", help="Check only the trike and entry that the code on a service passport names.")

    def handle(self, *args: Any, **options: Any) -> None:
        """Report each broken chain by its trike and first bad entry."""
        if options["code"] is not None:
            return self._check(options["code"])
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
        return None

    def _check(self, typed: str) -> None:
        try:
            answer = check_code(typed)
        except BadCode as refusal:
            raise CommandError(f"{refusal.message} {refusal.remedy}", returncode=2) from refusal
        if not answer.fits:
            raise CommandError(answer.words, returncode=1)
        self.stdout.write(answer.words)
        if answer.later_break:
            raise CommandError(answer.later_break, returncode=1)

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
