"""What a row of a service book says was done on the parts fitted that day: a task, a measured value, a swap."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from services.errors import Refusal
from services.kinds import all_tasks, judge, quantity
from services.parts import PART_KINDS
from services.positions import POSITIONS, check_position
from tracker.actions.bench import in_stored_unit
from tracker.actions.importing.fittings import USABLE, Fittings, Stay, words_for
from tracker.actions.importing.hints import Hints
from tracker.actions.importing.plan import Clash, NotKnown
from tracker.models import Component, Handover
from tracker.queries.cards import known_beside
from tracker.spreadsheets.pairs import number_and_unit, pairs_of
from tracker.spreadsheets.refusals import MissingCell
from tracker.spreadsheets.row import Row, fold_word
from tracker.spreadsheets.values import to_number

if TYPE_CHECKING:
    from tracker.actions.importing.service_book import Job

FATES = {
    "to stock": Component.State.IN_STOCK, "in stock": Component.State.IN_STOCK, "returned": Component.State.RETURNED,
    "scrapped": Component.State.SCRAPPED, "quarantined": Component.State.QUARANTINED,
}  # fmt: skip
PLACES = {word: code for code, position in POSITIONS.items() for word in (position.title, code)}
PRESSURE_UNITS = {"psi": "psi", "bar": "bar", "kpa": "kPa"}


@dataclass(frozen=True)
class Taken:
    """A measured value in its quantity's unit, with what it means."""

    component_id: int
    quantity: str
    value: float
    context: dict[str, float]
    level: str
    words: str


@dataclass(frozen=True)
class Swapping:
    """One position of a card: what left, where it went, what came in."""

    position: str
    old: Component | None
    new: Component | None
    fate: str
    reason: str


class Bench:
    """Reads the work of rows against what is fitted."""

    def __init__(
        self, fittings: Fittings, components: dict[str | None, Component], set_ups: dict[int, Handover]
    ) -> None:
        self.fittings = fittings
        self.components = components
        self.set_ups = set_ups  # trike -> handover
        self.tasks = {task.code: task for task in all_tasks()}
        self.words = {fold_word(word): task for task in self.tasks.values() for word in (task.title, task.code)}
        self.measured_on: dict[str, set[str]] = {}  # quantity -> kinds of part
        for task in self.tasks.values():
            for code in task.asks:
                self.measured_on.setdefault(code, set()).add(task.on)
        self.task_hints = Hints(lambda: self.tasks)
        self.quantity_hints = Hints(lambda: self.measured_on)
        self.serial_hints = Hints(
            lambda: Component.objects.filter(serial__isnull=False).values_list("serial", flat=True)
        )

    def read_work(self, row: Row, job: "Job") -> None:
        """Note the row's task and measured value on the job."""
        position = row.choice("Position", PLACES)
        task = self._task(row)
        if row.problems:
            return
        for component in self._worked_on(row, job, task, position):
            job.tasks[component.pk, task.code] = None
        if not row.problems and not row.is_blank("Measured"):
            self._measure(row, job, task, position)

    def _task(self, row: Row) -> Any | None:
        if row.is_blank("Task"):
            return None
        text = row.text("Task", 120)
        found = self.words.get(fold_word(text))
        if found is None and text:
            hint = self.task_hints.near("_".join(text.casefold().split()))
            row.refuse(
                NotKnown(
                    f"'{text[:60]}' is no task.{hint}", field="Task", remedy="Write the task as the due list names it."
                )
            )
        return found

    def _worked_on(self, row: Row, job: "Job", task: Any | None, position: str | None) -> list[Component]:
        """The components a task was done on: the one in the position, else every fitted one of the task's kind."""
        if task is None:
            return []
        here = self._of_kinds(job, {task.on})
        at = [component for place, component in here if place == position]
        if not here:
            row.refuse(
                NotKnown(
                    f"No {PART_KINDS[task.on].title} was fitted to {job.trike} on {job.day:%d %b %Y}.", field="Task",
                    remedy="Check the task and the date, or record the part that was fitted.",
                )
            )  # fmt: skip
        return at or [component for _, component in here]

    def _of_kinds(self, job: "Job", kinds: set[str]) -> list[tuple[str, Component]]:
        return [(stay.position, stay.component) for stay in job.found if stay.component.part_type.kind in kinds]

    def _measure(self, row: Row, job: "Job", task: Any | None, position: str | None) -> None:
        pairs = pairs_of(row, "Measured")
        if row.problems or not pairs:
            return
        (code, text), *extras = pairs.items()
        kinds = self.measured_on.get(code)
        if kinds is None:
            hint = self.quantity_hints.near(code)
            row.refuse(
                NotKnown(f"'{code}' is not measured here.{hint}", field="Measured", remedy="Write quantity=value.")
            )
            return
        component = self._measured_component(row, job, kinds, task, position)
        if component is None:
            return
        if (component.pk, code) in job.measured:
            row.refuse(
                Clash(f"'{code}' is measured twice on job {job.number}.", field="Measured", remedy="Keep one value.")
            )
            return
        self._keep(row, job, component, code, text, dict(extras))

    def _measured_component(
        self, row: Row, job: "Job", kinds: set[str], task: Any | None, position: str | None
    ) -> Component | None:
        here = self._of_kinds(job, kinds)
        if task is not None and any(component.part_type.kind == task.on for _, component in here):
            here = [pair for pair in here if pair[1].part_type.kind == task.on]
        here = [pair for pair in here if pair[0] == position] or here
        if len(here) == 1:
            return here[0][1]
        where = ", ".join(place for place, _ in here)
        row.refuse(
            MissingCell(f"This can be measured at {where}.", field="Position", remedy="Say which.")
            if here
            else NotKnown(
                "No part was fitted that this is measured on.", field="Measured", remedy="Check the quantity."
            )
        )
        return None

    def _keep(self, row: Row, job: "Job", component: Component, code: str, text: str, extras: dict[str, str]) -> None:
        try:
            digits, unit = number_and_unit(text)
            value = in_stored_unit(
                float(to_number(digits, "Measured")), PRESSURE_UNITS.get(unit.casefold(), unit), quantity(code).unit
            )
            context = known_beside(quantity(code), self.set_ups.get(job.trike.pk))
            context |= {name: float(to_number(number_and_unit(told)[0], "Measured")) for name, told in extras.items()}
            verdict = judge(code, value, rated=component.part_type.rated, context=context)
        except Refusal as problem:
            problem.field = "Measured"
            row.refuse(problem)
            return
        job.measured[component.pk, code] = Taken(component.pk, code, value, context, verdict.level, verdict.words[:200])

    def read_swap(self, row: Row, job: "Job") -> None:
        """Note the row's swap on the job and carry it out on paper."""
        old_serial, new_serial = row.serial("Old serial"), row.serial("New serial")
        fate = row.choice("Old part fate", FATES)
        if (old_serial is None and new_serial is None) or row.problems:
            return
        position = row.choice("Position", PLACES, needed=True)
        if position is None:
            return
        held = self.fittings.at(job.trike.frame_serial, position, job.at)
        self._check_place(row, job, position)
        self._check_old(row, job, position, held, old_serial, fate)
        new = self._new(row, job, position, new_serial) if new_serial else None
        if row.problems:
            return
        reason = job.told("Cause").replace("\n", " ")[:200]
        if held is not None:
            self.fittings.take_out(held, job.at, fate or "", reason)
        if new is not None:
            self.fittings.put_in(new, job.trike.frame_serial, position, job.at)
        old = held.component if held else None
        job.swaps[position] = Swapping(position, old, new, (fate or "") if held else "", reason)

    def _check_place(self, row: Row, job: "Job", position: str) -> None:
        later = self.fittings.later(job.trike.frame_serial, position, job.at)
        words = ""
        if position == "frame":
            words = "The frame is the trike's identity and is not swapped."
        elif position in job.swaps:
            words = f"{POSITIONS[position].title} is swapped twice on job {job.number}."
        elif later is not None:
            words = f"{POSITIONS[position].title} of {job.trike} was fitted again on {later.fitted_at:%d %b %Y}."
        if words:
            row.refuse(
                Clash(words, field="Position", remedy="Check position and date; older swaps are recorded at the desk.")
            )

    def _check_old(
        self, row: Row, job: "Job", position: str, held: Stay | None, old_serial: str | None, fate: str | None
    ) -> None:
        title = POSITIONS[position].title
        if held is None:
            if old_serial:
                row.refuse(
                    NotKnown(f"{title} of {job.trike} was empty on {job.day:%d %b %Y}.", field="Old serial",
                             remedy="Leave the old serial blank, or correct the position.")
                )  # fmt: skip
            return
        if old_serial and old_serial not in {held.component.serial, held.component.batch.upper()}:
            row.refuse(
                Clash(
                    f"{title} of {job.trike} held {words_for(held.component)} on {job.day:%d %b %Y}, not {old_serial}.",
                    field="Old serial",
                    remedy="Correct the serial, or import the swap that is missing.",
                )
            )
        if held.removed_at is not None:
            row.refuse(
                Clash(f"{words_for(held.component)} left on {held.removed_at:%d %b %Y} already.", field="Date",
                      remedy="Check the date.")
            )  # fmt: skip
        if fate is None and row.is_blank("Old part fate"):
            row.refuse(
                MissingCell(f"Where did {words_for(held.component)} go?", field="Old part fate",
                            remedy="Write to stock, returned, scrapped or quarantined.")
            )  # fmt: skip

    def _new(self, row: Row, job: "Job", position: str, serial: str) -> Component | None:
        component = self.components.get(serial)
        if component is None:
            row.refuse(
                NotKnown(f"No part has the serial {serial}.{self.serial_hints.near(serial)}", field="New serial",
                         remedy="Import the parts first, or correct the serial.")
            )  # fmt: skip
            return None
        try:
            check_position(position, component.part_type.kind)
        except Refusal as problem:
            problem.field = "New serial"
            row.refuse(problem)
            return None
        return component if self._is_free(row, component, job.at) else None

    def _is_free(self, row: Row, component: Component, at: datetime) -> bool:
        stay = self.fittings.in_the_way(component, at)
        words = ""
        if stay is not None:
            words = f"{component.serial} sits on trike {stay.trike_key} at {POSITIONS[stay.position].title}."
        elif self.fittings.state_of(component) not in USABLE:
            words = f"{component.serial} is {Component.State(self.fittings.state_of(component)).label}."
        if words:
            row.refuse(Clash(words, field="New serial", remedy="Correct the serial, or the date of the swap before."))
        return not words
