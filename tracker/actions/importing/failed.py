"""What a row of a service book says has failed: how, why and how it was found, on the part that sat there then."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from services.failures import CAUSES, FOUND, MODES
from services.kinds import all_tasks
from tracker.actions.importing.bench import PLACES
from tracker.actions.importing.deliveries import YES_NO
from tracker.actions.importing.plan import Clash, NotKnown
from tracker.models import Component
from tracker.spreadsheets.refusals import MissingCell
from tracker.spreadsheets.row import Row, fold_word

if TYPE_CHECKING:
    from tracker.actions.importing.service_book import Job

ON = {fold_word(word): task.on for task in all_tasks() for word in (task.title, task.code)}  # task -> kind of part
DETAILS = ("Failure cause", "Found", "Warranty")


@dataclass(frozen=True)
class Failed:
    """A failure as told: codes of services.failures."""

    component_id: int
    mode: str
    cause: str
    found: str
    warranty: bool


def _choices(words: dict[str, str]) -> dict[str, str]:
    return {word: code for code, title in words.items() for word in (str(title), code)}


def read_failure(row: Row, job: "Job") -> None:
    """Note the row's failure on the job: of the part in its position, else of the one part its task is done on."""
    mode = row.choice("Failure mode", _choices(MODES))
    cause = row.choice("Failure cause", _choices(CAUSES)) or ""
    found = row.choice("Found", _choices(FOUND)) or ""
    warranty = row.choice("Warranty", YES_NO) or False
    if mode is None and any(not row.is_blank(name) for name in DETAILS):
        row.refuse(
            MissingCell("A failure needs its mode.", field="Failure mode", remedy=f"One of: {', '.join(MODES)}.")
        )
    if mode is None or row.problems:
        return
    component = _component(row, [(stay.position, stay.component) for stay in job.found])
    if component is None:
        return
    if component.pk in job.failed:
        row.refuse(
            Clash(f"This part fails twice on job {job.number}.", field="Failure mode", remedy="Keep one row.")
        )  # fmt: skip
        return
    job.failed[component.pk] = Failed(component.pk, mode, cause, found, warranty)


def _component(row: Row, here: Sequence[tuple[str, Component]]) -> Component | None:
    """The part that failed, or None with the reason noted on the row."""
    position = row.choice("Position", PLACES)
    kind = ON.get(fold_word(row.text("Task", 120)))
    able = [part for place, part in here if place == position or (position is None and part.part_type.kind == kind)]
    if len(able) == 1:
        return able[0]
    row.refuse(
        NotKnown("No part sat there that could fail.", field="Position", remedy="Correct position and date.")
        if position is not None
        else MissingCell("Which part failed?", field="Position", remedy="Say where it sat.")
    )
    return None
