"""Reckons the failure review now."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from tracker.actions.review import ask_for_review, begin_review, keep_review
from tracker.queries.review import findings
from tracker.queries.review_reckoning import reckon


class Command(BaseCommand):
    """manage.py review"""

    help = "Reckon the failure review now and say what stands out."

    def handle(self, *args: Any, **options: Any) -> None:
        """Reckon it here, then print what is to be done, strongest evidence first."""
        now = timezone.now()
        ask_for_review(now=now)
        run = begin_review(now=now)
        done = keep_review(run_id=run.pk, reckoned=reckon(now), now=timezone.now()) if run else None
        if done is None:
            raise CommandError("Another process reckons the review at this moment.")
        self.stdout.write(
            f"{done.part_types} part types, {done.components} pieces, {done.failures} failures, "
            f"{done.comparisons} comparisons; {done.reckoned} reckoned anew."
        )
        for row in findings(only_to_do=True):
            self.stdout.write(f"{row.rank}. {row.part_type}: {row.verdict} {row.payload['finding']['do']}")
