"""Takes spreadsheets into the record from the command line: preview first, then all files or nothing."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tracker.actions.imports import Report, bring_in
from tracker.models import ImportBatch
from tracker.spreadsheets.layouts import LAYOUTS
from tracker.spreadsheets.limits import MAX_BYTES

SHOWN_ROWS = 8
BAR = 24


class Command(BaseCommand):
    """manage.py import_files FILE... [--kind KIND] [--shift-days N] [--yes]"""

    help = "Check spreadsheets, show a preview, and write all of them or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        """Name the files and how to take them."""
        parser.add_argument("files", nargs="+", metavar="FILE", help="an .xlsx workbook or a CSV file")
        parser.add_argument(
            "--kind", choices=list(LAYOUTS), help="what the files hold; guessed from the header if not given"
        )
        parser.add_argument("--shift-days", type=int, default=0, metavar="N", help="move every date by N days")
        parser.add_argument("--yes", action="store_true", help="write without asking")

    def handle(self, *args: Any, **options: Any) -> None:
        """Preview, ask, write."""
        files = [_read(Path(name)) for name in options["files"]]
        how = {"kind": options["kind"], "shift_days": options["shift_days"]}
        write = options["yes"]
        reports = self._bring_in(files, how, write)
        if not write and not _refused(reports) and self._may_write():
            write = True
            reports = self._bring_in(files, how, write, quiet=True)
        if _refused(reports):
            raise CommandError("Refused. Nothing was written.", returncode=1)
        self.stdout.write("Written." if write else "Nothing was written. Add --yes to write.")

    def _bring_in(
        self, files: list[tuple[str, bytes]], how: dict[str, Any], write: bool, quiet: bool = False
    ) -> list[Report]:
        reports = bring_in(files=files, **how, now=timezone.now(), write=write, tell=self._tell)
        self._end_bar()
        if not quiet or _refused(reports):
            self._show(reports)
        return reports

    def _may_write(self) -> bool:
        if not sys.stdin.isatty():
            return False
        return input("Write these files into the record? [y/N] ").strip().casefold() in {"y", "yes"}

    def _show(self, reports: list[Report]) -> None:
        self.stdout.write(f"{'file':<24} {'kind':<13} {'rows':>6} {'good':>6} {'there':>6} {'doubt':>6} {'bad':>6}")
        for report in reports:
            batch = report.batch
            numbers = (batch.rows_total, batch.rows_good, batch.rows_skipped, batch.rows_questioned, batch.rows_bad)
            counts = " ".join(f"{number:>6}" for number in numbers)
            self.stdout.write(f"{batch.file_name[:24]:<24} {batch.kind:<13} {counts}")
            if batch.state == ImportBatch.State.REFUSED:
                self.stdout.write(f"  {batch.message}")
            for row in sorted(report.rows, key=lambda row: (row.verdict != "bad", row.number))[:SHOWN_ROWS]:
                self.stdout.write(f"  row {row.number} {row.verdict}: {row.field}: {row.message}")
            if len(report.rows) > SHOWN_ROWS:
                self.stdout.write(f"  ... and {len(report.rows) - SHOWN_ROWS} more")

    def _tell(self, words: str, done: int, total: int) -> None:
        if sys.stderr.isatty():
            filled = BAR * done // max(total, 1)
            sys.stderr.write(f"\r[{'#' * filled}{'.' * (BAR - filled)}] {words[:40]:<40}")
            sys.stderr.flush()

    def _end_bar(self) -> None:
        if sys.stderr.isatty():
            sys.stderr.write("\n")


def _read(path: Path) -> tuple[str, bytes]:
    try:
        with path.open("rb") as stream:
            return path.name, stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}.", returncode=1) from None


def _refused(reports: list[Report]) -> bool:
    return any(report.is_refused for report in reports)
