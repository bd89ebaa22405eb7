"""What the trike page and the component page show, each in a fixed number of queries."""

from dataclasses import dataclass, field
from datetime import date, datetime

from services.life import Life
from services.positions import POSITIONS
from tracker.models import (
    Completion,
    Component,
    DueLine,
    Failure,
    Fitment,
    Handover,
    JobCard,
    LogEntry,
    Measurement,
    Occurrence,
    OdometerReading,
    OutboxMessage,
    Owner,
    Ownership,
    Trike,
    Visit,
)
from tracker.queries.clock import day_of, local_date
from tracker.queries.due import describe, range_words, status_of, title_of, why_of
from tracker.queries.life import ComponentRun, Distance, clocks_of, distances_now, handover_of, runs_of
from tracker.queries.pictures import DistancePicture, distance_picture
from tracker.queries.usage import LateDoubt, doubts_of
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


@dataclass(frozen=True)
class FittedPart:
    """A component in its position, with its life."""

    fitment: Fitment
    position: str
    life: Life


@dataclass(frozen=True)
class TrikePage:
    """One look at a trike."""

    trike: Trike
    owner: Owner | None
    distance: Distance
    parts: list[FittedPart]
    due: list[DueTold]
    open_card: JobCard | None
    visit: Visit | None
    handover: Handover | None
    readings: list[OdometerReading]
    cards: list[JobCard]
    messages: list[OutboxMessage]
    occurrences: list[Occurrence]
    picture: DistancePicture | None
    doubts: list[LateDoubt]
    log: list[LogEntry] = field(default_factory=list)


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


def trike_page(trike_id: int, now: datetime, log_limit: int = 60) -> TrikePage | None:
    """Return everything the trike page shows, or None where there is no such trike."""
    trike = Trike.objects.filter(pk=trike_id).first()
    if trike is None:
        return None
    today = local_date(now)
    fitted = list(
        Fitment.objects.current().filter(trike_id=trike_id).select_related("component__part_type").order_by("fitted_at")
    )
    clocks = clocks_of([trike_id])
    runs = runs_of((f.component_id for f in fitted), clocks)
    order = list(POSITIONS)
    day = day_of(now)
    parts = [FittedPart(f, POSITIONS[f.position].title, runs[f.component_id].life_at(day)) for f in fitted]
    lines = list(
        DueLine.objects.filter(trike_id=trike_id, due_on__isnull=False)
        .select_related("component__part_type").order_by("due_on", "pk")
    )  # fmt: skip
    return TrikePage(
        trike=trike,
        owner=owner_of(trike_id),
        distance=distances_now([trike_id], now, clocks)[trike_id],
        parts=sorted(parts, key=lambda p: order.index(p.fitment.position)),
        due=told(lines, today),
        open_card=trike.job_cards.filter(state=JobCard.State.DRAFT).first(),
        visit=trike.visits.filter(state=Visit.State.OPEN).prefetch_related("lines").first(),
        handover=handover_of(trike_id),
        readings=list(trike.readings.all()[:12]),
        cards=list(trike.job_cards.exclude(state=JobCard.State.DRAFT).select_related("signed_by")[:12]),
        messages=list(trike.messages.all()[:6]),
        occurrences=list(trike.occurrences.all()[:6]),
        picture=distance_picture(clocks[trike_id], now),
        doubts=doubts_of(trike_id, now, clocks[trike_id]),
        log=list(trike.log_entries.select_related("actor", "amends")[:log_limit]),
    )


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
    )


def _stay(fitment: Fitment, run: ComponentRun, now: datetime) -> Stay:
    end = fitment.removed_at or now
    return Stay(
        fitment, POSITIONS[fitment.position].title, run.life_at(day_of(fitment.fitted_at)), run.life_at(day_of(end))
    )
