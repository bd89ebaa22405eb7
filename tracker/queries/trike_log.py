"""The logbook of one trike, newest first, narrowed by kind of entry and by component."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from tracker.models import Fitment, LogEntry

MOST_SEARCHED = 5000  # entries among which words are looked for: some years of daily use


@dataclass(frozen=True)
class LogAsked:
    """What is asked of a logbook; empty values ask for everything. words are looked for in what the page would show."""

    kind: str = ""
    component_id: int | None = None
    words: str = ""

    @property
    def is_narrow(self) -> bool:
        """Whether anything is left out."""
        return bool(self.kind or self.component_id or self.words)


def log_of(trike_id: int, asked: LogAsked) -> QuerySet[LogEntry]:
    """Return the entries by kind and component (not yet by words), newest first, ready to be shown."""
    rows = LogEntry.objects.filter(trike_id=trike_id).select_related("actor", "amends").order_by("-seq")
    if asked.kind:
        rows = rows.filter(kind=asked.kind)
    return rows.filter(component_id=asked.component_id) if asked.component_id else rows


def once_fitted(trike_id: int) -> list[Fitment]:
    """Return all fitments of a trike, oldest first, with component and part type at hand. One query."""
    rows = Fitment.objects.filter(trike_id=trike_id).select_related("component__part_type")
    return list(rows.order_by("fitted_at", "pk"))


def still_fitted(fitments: Sequence[Fitment]) -> list[Fitment]:
    """Return those that have not ended."""
    return [fitment for fitment in fitments if fitment.removed_at is None]
