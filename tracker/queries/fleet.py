"""What the component page shows, in a fixed number of queries; due lines as pages tell them."""

from dataclasses import dataclass
from datetime import date, datetime

from services.life import Life
from services.positions import POSITIONS
from tracker.models import (
    BulletinPart,
    Completion,
    Component,
    DueLine,
    Failure,
    Fitment,
    LogEntry,
    Measurement,
    Owner,
    Ownership,
)
from tracker.queries.bulletins import of_component
from tracker.queries.clock import day_of, local_date
from tracker.queries.due import describe, range_words, status_of, title_of, why_of
from tracker.queries.life import ComponentRun, runs_of
from tracker.queries.wear import WearTold, wear_of


@dataclass(frozen=True)
class DueTold:
    """A due line ready to be read. likely: its range in words, '' where the day is certain; why: the numbers behind it."""

    line: DueLine
    title: str
    status: str
    sentence: str
    likely: str = ""
    why: str = ""
    position: str = ""


def owner_of(trike_id: int) -> Owner | None:
    """Return the present owner of a trike."""
    row = Ownership.objects.filter(trike_id=trike_id, until__isnull=True).select_related("owner").first()
    return row.owner if row else None


def told(lines: list[DueLine], today: date, unit: str = "km") -> list[DueTold]:
    """Return due lines with title, status and sentence. Lines need `component` at hand for nothing but their page."""
    return [
        DueTold(
            line, title_of(line.task), status_of(line, today), describe(line, today, unit), range_words(line, today),
            why_of(line, unit),
        )
        for line in lines
    ]  # fmt: skip


@dataclass(frozen=True)
class Stay:
    """One fitment of a component with the distance it ran there."""

    fitment: Fitment
    position: str
    life_at_start: Life
    life_at_end: Life

    @property
    def km(self) -> float:
        """What it ran there."""
        return self.life_at_end.km - self.life_at_start.km


@dataclass(frozen=True)
class ComponentPage:
    """One piece from birth to scrap."""

    component: Component
    life: Life
    stays: list[Stay]
    measurements: list[Measurement]
    failures: list[Failure]
    completions: list[Completion]
    due: list[DueTold]
    log: list[LogEntry]
    wear: list[WearTold]
    bulletins: list[BulletinPart]

    @property
    def here(self) -> Stay | None:
        """Where it sits now."""
        return next((stay for stay in self.stays if stay.fitment.removed_at is None), None)


def component_page(component_id: int, now: datetime) -> ComponentPage | None:
    """Return everything the component page shows, or None."""
    component = Component.objects.select_related("part_type").filter(pk=component_id).first()
    if component is None:
        return None
    run = runs_of([component_id])[component_id]
    fitments = list(component.fitments.select_related("trike").order_by("-fitted_at"))
    lines = list(component.due_lines.filter(due_on__isnull=False).order_by("due_on", "pk"))
    return ComponentPage(
        component=component,
        life=run.life_at(day_of(now)),
        stays=[_stay(f, run, now) for f in fitments],
        measurements=list(
            component.measurements.filter(card__state="signed").select_related("card").order_by("-taken_at")[:30]
        ),
        failures=list(component.failures.select_related("trike", "card")),
        completions=list(component.completions.select_related("trike", "job_card").order_by("-done_at", "pk")[:60]),
        due=told(lines, local_date(now)),
        log=list(component.log_entries.select_related("actor", "trike", "amends").order_by("-recorded_at", "-pk")[:60]),
        wear=wear_of(component_id, now, run),
        bulletins=list(of_component(component_id)),
    )


def _stay(fitment: Fitment, run: ComponentRun, now: datetime) -> Stay:
    end = fitment.removed_at or now
    return Stay(
        fitment, POSITIONS[fitment.position].title, run.life_at(day_of(fitment.fitted_at)), run.life_at(day_of(end))
    )
