"""The release of a card: what its work demands, what was signed, and whether that still covers the work."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from services.positions import POSITIONS
from services.release import (
    LINES,
    Demand,
    Line,
    Work,
    demanded,
    failure_work,
    lines_for,
    swap_work,
    task_work,
    uncovered,
)
from tracker.models import Component, Fitment, JobCard, JobTask, ReleaseCheck

WORK = "work-"  # rows of the release that say which work it speaks of: work-1, work-2 ...; the words stand in `note`


@dataclass(frozen=True)
class Answer:
    """One line of a signed checklist."""

    line: Line
    passed: bool
    note: str


@dataclass(frozen=True)
class Release:
    """What a card's work demands, and the release signed so far."""

    demands: tuple[Demand, ...]
    answers: tuple[Answer, ...]
    released: tuple[str, ...]  # the work the signed release speaks of
    at: datetime | None
    by: Any

    @property
    def lines(self) -> tuple[Line, ...]:
        """The checklist that is demanded now."""
        return lines_for(self.demands)

    @property
    def is_signed(self) -> bool:
        """Whether a release was signed, also one that no longer covers everything."""
        return self.at is not None

    @property
    def uncovered(self) -> tuple[str, ...]:
        """Work that came after the release and wants a new one."""
        return uncovered(self.demands, self.released) if self.is_signed else ()

    @property
    def uncovered_areas(self) -> tuple[str, ...]:
        """Titles of the areas that work touches."""
        fresh = set(self.uncovered)
        return tuple(demand.area.title for demand in self.demands if fresh & set(demand.because))

    @property
    def is_missing(self) -> bool:
        """Whether the card cannot be signed yet: demanded, and not signed for all of its work."""
        return bool(self.demands) and (not self.is_signed or bool(self.uncovered))

    @property
    def state(self) -> str:
        """not_demanded, missing, outdated or signed."""
        if self.is_signed:
            return "outdated" if self.uncovered else "signed"
        return "missing" if self.demands else "not_demanded"


def release_of(card: JobCard) -> Release:
    """Return the release of a card. A signed card's is told as it was signed: parts have moved since."""
    rows = list(ReleaseCheck.objects.filter(card=card).order_by("pk"))
    is_draft = card.state == JobCard.State.DRAFT
    return Release(
        demands=demanded(work_on(card)) if is_draft else (),
        answers=tuple(Answer(LINES[row.item], row.passed, row.note) for row in rows if row.item in LINES),
        released=tuple(row.note for row in rows if row.item.startswith(WORK)),
        at=card.released_at,
        by=card.released_by,
    )


def work_on(card: JobCard) -> list[Work]:
    """Return everything on a draft that may demand a release: tasks done, swaps, failures. Four queries."""
    places = places_on(card.trike_id)
    done = card.tasks.filter(outcome=JobTask.Outcome.DONE).order_by("pk")
    swaps = card.swaps.select_related("old_component", "new_component").order_by("pk")
    failures = card.failures.select_related("component__part_type").order_by("pk")
    return [
        *(task_work(row.task, places.get(row.component_id, "")) for row in done),
        *(swap_work(row.position, _name(row.old_component), _name(row.new_component)) for row in swaps),
        *(failure_work(row.component.part_type.kind, row.mode, places.get(row.component_id, "")) for row in failures),
    ]


def _name(component: Component | None) -> str:
    return str(component) if component else ""


def places_on(trike_id: int) -> dict[int, str]:
    """Return component id -> its place in words, also of parts that have left: the last place counts."""
    rows: Iterable[tuple[int, str]] = (
        Fitment.objects.filter(trike_id=trike_id).order_by("fitted_at", "pk").values_list("component_id", "position")
    )
    return {component_id: POSITIONS[position].title for component_id, position in rows}
