"""One component's logbook across all trikes it sat on, from birth to scrap, with its life at each event."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from services.life import Life
from tracker.models import Component, Fitment, LogEntry
from tracker.queries.clock import day_of
from tracker.queries.life import ComponentRun, runs_of


@dataclass(frozen=True)
class ComponentLog:
    """A component, where it sat (oldest first), and its entries (oldest first, not fetched yet)."""

    component: Component
    run: ComponentRun
    stays: list[Fitment]
    entries: QuerySet[LogEntry]
    life: Life

    def life_at(self, moment: datetime) -> Life:
        """Return what it had run at `moment`."""
        return self.run.life_at(day_of(moment))

    @property
    def here(self) -> Fitment | None:
        """Where it sits now."""
        return next((stay for stay in self.stays if stay.removed_at is None), None)

    @property
    def left(self) -> Fitment | None:
        """The fitment it left last, where it sits nowhere now."""
        return self.stays[-1] if self.stays and self.here is None else None


def component_log(component_id: int, now: datetime, *, kind: str = "") -> ComponentLog | None:
    """Return the logbook of a component, or None where there is none such; `kind` narrows the entries."""
    component = Component.objects.select_related("part_type").filter(pk=component_id).first()
    if component is None:
        return None
    run = runs_of([component_id])[component_id]
    entries = component.log_entries.select_related("actor", "trike", "amends").order_by("occurred_at", "pk")
    stays = list(component.fitments.select_related("trike").order_by("fitted_at", "pk"))
    return ComponentLog(component, run, stays, entries.filter(kind=kind) if kind else entries, run.life_at(day_of(now)))
