"""One job card with everything its page shows, in a fixed number of queries."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet

from services.intervals import covered_tasks
from services.kinds import all_kinds, comes_with, includes_map, quantity, tasks_for
from services.kinds import task as task_of
from services.kinds.from_bulletin import number_of
from services.positions import POSITIONS
from tracker.models import BulletinPart, Failure, Fitment, Handover, JobCard, JobTask, LogEntry, Measurement, Swap
from tracker.queries.bulletin_parts import asking_parts, task_code
from tracker.queries.due_reckoning import CHECK_AFTER
from tracker.queries.lists import present_owner


@dataclass(frozen=True)
class MeasureLine:
    """One quantity a task asks for: what was measured on this card, and the time before."""

    component: Any
    quantity: Any
    taken: Measurement | None
    before: Measurement | None
    known: dict[str, float] = field(default_factory=dict)  # of what is noted beside the value: what the record tells


@dataclass(frozen=True)
class TaskLine:
    """One task on the card with its words, its cautions and what it asks to be measured."""

    row: JobTask
    task: Any
    position: str
    cautions: tuple[str, ...]
    measures: list[MeasureLine]
    bulletin: BulletinPart | None = None  # whose work it is

    @property
    def covers(self) -> list[str]:
        """The titles of the smaller tasks that this one includes: done with it."""
        return [task_of(code).title for code in self.task.includes]


@dataclass(frozen=True)
class CardPage:
    """A job card, whole."""

    card: JobCard
    owner: Any
    tasks: list[TaskLine]
    fitments: list[Fitment]
    swaps: list[Swap]
    failures: list[Failure]
    amendments: list[LogEntry] = field(default_factory=list)

    @property
    def settled_tasks(self) -> list[TaskLine]:
        """Tasks that were done or deferred, or measured."""
        return [
            line
            for line in self.tasks
            if line.row.outcome != JobTask.Outcome.PROPOSED or any(measure.taken for measure in line.measures)
        ]

    @property
    def safety_open(self) -> list[TaskLine]:
        """Safety tasks nobody has said anything about yet."""
        return [line for line in self.open_tasks if line.task.safety]

    @property
    def open_tasks(self) -> list[TaskLine]:
        """Tasks nobody has said anything about yet, and that are not done with a larger one."""
        inside = covered_tasks(self._codes(JobTask.Outcome.DONE), includes_map())
        proposed = [line for line in self.tasks if line.row.outcome == JobTask.Outcome.PROPOSED]
        return [line for line in proposed if line.row.task not in inside]

    def _codes(self, *outcomes: str) -> list[str]:
        return [line.row.task for line in self.tasks if line.row.outcome in outcomes]

    @property
    def along(self) -> dict[str, str]:
        """The ticked tasks that come with a larger ticked one, and its title."""
        ticked = self._codes(JobTask.Outcome.PROPOSED, JobTask.Outcome.DONE)
        return {task: task_of(larger).title for task, larger in comes_with(ticked).items()}

    @property
    def ticked_tasks(self) -> list[TaskLine]:
        """Tasks to be done now, or done."""
        return [line for line in self.tasks if line.row.outcome != JobTask.Outcome.DEFERRED]

    @property
    def records_work(self) -> bool:
        """Whether the card holds anything that a signature could stand for."""
        done = any(line.row.outcome == JobTask.Outcome.DONE for line in self.tasks)
        measured = any(measure.taken for line in self.tasks for measure in line.measures)
        return bool(done or measured or self.swaps or self.card.correction.strip())


def whole_cards() -> QuerySet[JobCard]:
    """Return job cards with everything on them, in a fixed number of queries however many they are."""
    return JobCard.objects.select_related("trike", "reading").prefetch_related(
        "tasks", "measurements", "swaps", "failures"
    )


def card_page(card_id: int) -> CardPage | None:
    """Return the card, or None where there is none."""
    card = (
        JobCard.objects.select_related("trike", "reading", "opened_by", "signed_by")
        .prefetch_related(present_owner("trike__ownerships"))
        .filter(pk=card_id)
        .first()
    )
    if card is None:
        return None
    fitments = sorted(
        Fitment.objects.current().filter(trike_id=card.trike_id).select_related("component__part_type"), key=_place
    )
    owned = card.trike.now_owned
    return CardPage(
        card=card,
        owner=owned[0].owner if owned else None,
        tasks=_task_lines(card),
        fitments=fitments,
        swaps=list(card.swaps.select_related("old_component", "new_component__part_type")),
        failures=list(card.failures.select_related("component__part_type")),
        amendments=_amendments(card),
    )


def _place(fitment: Fitment | None) -> int:
    """Positions in the order the workshop lists them; what is no longer on the trike comes last."""
    return list(POSITIONS).index(fitment.position) if fitment else len(POSITIONS)


def _task_lines(card: JobCard) -> list[TaskLine]:
    rows = list(card.tasks.select_related("component__part_type"))
    stays = Fitment.objects.filter(trike_id=card.trike_id, component_id__in={row.component_id for row in rows})
    fitted = {stay.component_id: stay for stay in stays.order_by("fitted_at", "pk")}
    taken = {(m.component_id, m.quantity): m for m in card.measurements.all()}
    before = _earlier(card, {row.component_id for row in rows})
    cautions = cautions_by_task()
    set_up, named = set_up_of(card.trike_id), _bulletins(rows)
    lines = []
    for row in rows:
        task = task_of(row.task)
        measures = []
        for code in task.asks:
            key, measured = (row.component_id, code), quantity(code)
            known = known_beside(measured, set_up)
            measures.append(MeasureLine(row.component, measured, taken.get(key), before.get(key), known))
        place = fitted.get(row.component_id)
        where = POSITIONS[place.position].title if place else ""
        bulletin = named.get((row.component_id, number_of(row.task)))
        lines.append(TaskLine(row, task, where, cautions.get(row.task, ()), measures, bulletin))
    return sorted(lines, key=lambda line: (_place(fitted.get(line.row.component_id)), *_urgency(line)))


def _bulletins(rows: list[JobTask]) -> dict[tuple[int, str], BulletinPart]:
    """(component, number) -> the bulletin whose work is on the card. No query where there is none."""
    ids = {row.component_id for row in rows if number_of(row.task)}
    if not ids:
        return {}
    parts = BulletinPart.objects.filter(component_id__in=ids).select_related("bulletin")
    return {(part.component_id, part.bulletin.number): part for part in parts}


def bulletin_offers(page: CardPage) -> list[tuple[str, Fitment, BulletinPart]]:
    """Return (task code, place, part) of what open bulletins ask of this trike and the card does not hold yet. One query."""
    held = {(line.row.component_id, line.row.task) for line in page.tasks}
    here = {fitment.component_id: fitment for fitment in page.fitments}
    parts = asking_parts().filter(component_id__in=here).select_related("bulletin").order_by("bulletin__number", "pk")
    told = [(task_code(part.bulletin), here[part.component_id], part) for part in parts]
    return [row for row in told if (row[2].component_id, row[0]) not in held]


def set_up_of(trike_id: int) -> Handover | None:
    """Return the handover that tells how the trike was set up for its rider."""
    return Handover.objects.filter(trike_id=trike_id).first()


def known_beside(measured: Any, set_up: Handover | None) -> dict[str, float]:
    """Return what the record tells of that which is noted beside a value: the shock pressure set at the handover."""
    told = {"set_kpa": set_up.shock_pressure_kpa if set_up else None}
    return {name: told[name] for name in measured.beside if told.get(name) is not None}


def _urgency(line: TaskLine) -> tuple[bool, bool]:
    """Within one place: what an accident calls for first, then safety tasks."""
    return line.row.task not in CHECK_AFTER.values(), not line.task.safety


def _earlier(card: JobCard, component_ids: set[int]) -> dict[tuple[int, str], Measurement]:
    """The last signed measurement of each quantity of these components before this card."""
    rows = Measurement.objects.filter(
        component_id__in=component_ids, card__state=JobCard.State.SIGNED, taken_at__lt=card.opened_at
    ).order_by("taken_at", "pk")
    return {(row.component_id, row.quantity): row for row in rows}


def cautions_by_task() -> dict[str, tuple[str, ...]]:
    """Return each task's cautions: those of the kind of service it belongs to."""
    return {task.code: tuple(kind.cautions) for kind in all_kinds() for task in kind.tasks}


def addable_tasks(page: CardPage) -> Iterator[tuple[Fitment, list[Any]]]:
    """Yield each component on the trike with the tasks of its kind that the card does not hold yet."""
    held = {(line.row.component_id, line.row.task) for line in page.tasks}
    for fitment in page.fitments:
        free = [t for t in tasks_for(fitment.component.part_type.kind) if (fitment.component_id, t.code) not in held]
        if free:
            yield fitment, free


def _amendments(card: JobCard) -> list[LogEntry]:
    if card.state != JobCard.State.SIGNED:
        return []
    rows = LogEntry.objects.filter(trike_id=card.trike_id, kind="amendment").select_related("actor").order_by("seq")
    return [row for row in rows if row.body.get("card") == card.number]
