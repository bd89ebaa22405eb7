"""The steps of a draft card, what each still needs in words, and what the bench wants to know beside it."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from services.kinds import judge
from services.kinds.model import Verdict
from services.life import Life
from services.limits import limit_words, uses_words
from tracker.models import DueLine, JobTask, OdometerReading
from tracker.queries.cards import CardPage, MeasureLine, TaskLine
from tracker.queries.due import describe, status_of
from tracker.queries.life import lives_of

STEPS = (
    ("intake", "Intake"), ("tasks", "Tasks"), ("bench", "Bench"), ("findings", "Findings"), ("sign", "Review, sign"),
)  # fmt: skip


@dataclass(frozen=True)
class Step:
    """One step of the flow: what it still needs ('' when it needs nothing), or what is known of it."""

    code: str
    title: str
    needs: str
    told: str

    @property
    def words(self) -> str:
        """What stands under the step's name."""
        return self.needs or self.told

    @property
    def state(self) -> str:
        """The shape beside the words: open or done."""
        return "proposed" if self.needs else "done"


def steps_of(found: CardPage, release: Any = None) -> list[Step]:
    """Return the steps with their words. release: what the work demands, where that is known."""
    told = {
        "intake": _intake(found), "tasks": _tasks(found), "bench": _bench(found), "findings": _findings(found),
        "sign": _sign(found, release),
    }  # fmt: skip
    return [Step(code, title, *told[code]) for code, title in STEPS]


def first_open(found: CardPage) -> str:
    """Return the step to go on with: the first that needs something; nothing done yet begins with the tasks."""
    if _intake(found)[0]:
        return "intake"
    if not any(line.row.outcome != JobTask.Outcome.PROPOSED for line in found.tasks) and not found.swaps:
        return "tasks" if not any(m.taken for line in found.tasks for m in line.measures) else "bench"
    return "bench" if _bench(found)[0] else "findings"


def _intake(found: CardPage) -> tuple[str, str]:
    reading = found.card.reading
    if reading is None or reading.verdict == OdometerReading.Verdict.REJECTED:
        return "odometer missing", ""
    if reading.verdict == OdometerReading.Verdict.SUSPECT:
        return "odometer in doubt", ""
    return "", f"{float(reading.value):,.0f} {reading.unit}"


def _tasks(found: CardPage) -> tuple[str, str]:
    ticked = len(found.ticked_tasks)
    off = len(found.tasks) - ticked
    if not ticked:
        return "nothing ticked", ""
    return "", f"{ticked} ticked" + (f", {off} deferred" if off else "")


def _bench(found: CardPage) -> tuple[str, str]:
    unmeasured = sum(measure.taken is None for line in found.open_tasks for measure in line.measures)
    if found.open_tasks:
        return f"{len(found.open_tasks)} to do" + (f", {unmeasured} to measure" if unmeasured else ""), ""
    done = sum(line.row.outcome == JobTask.Outcome.DONE for line in found.tasks)
    swaps = f", {_count(len(found.swaps), 'swap')}" if found.swaps else ""
    return ("", f"{done} done{swaps}") if done or swaps else ("nothing done yet", "")


def _findings(found: CardPage) -> tuple[str, str]:
    written = [name for name in ("cause", "correction") if getattr(found.card, name)]
    if found.failures:
        written.append(_count(len(found.failures), "failure"))
    return "", ", ".join(written) or "nothing to tell"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


def _sign(found: CardPage, release: Any) -> tuple[str, str]:
    lacks = missing(found, release)
    return (f"{len(lacks)} thing{'' if len(lacks) == 1 else 's'} missing", "") if lacks else ("your signature", "")


def missing(found: CardPage, release: Any = None) -> list[tuple[str, str]]:
    """Return (step, words) for whatever the signature will be refused for."""
    lacks = []
    if need := _intake(found)[0]:
        lacks.append(("intake", f"{need.capitalize()}."))
    if not found.records_work:
        lacks.append(("bench", "No work is recorded: no task done, nothing measured, nothing swapped, no correction."))
    if release is not None and release.is_missing:
        lacks.append(("release", "Test ride and release: this work demands them, signed before the card."))
    return lacks


def reasons_of(found: CardPage, today: date, unit: str) -> dict[tuple[int, str], tuple[str, str]]:
    """Return (component, task) -> (status, why it is due in one sentence), for what the due list knows. One query."""
    lines = DueLine.objects.filter(trike_id=found.card.trike_id).select_related("component")
    return {(line.component_id, line.task): (status_of(line, today), describe(line, today, unit)) for line in lines}


def limits_of(measure: MeasureLine) -> str:
    """Return the limit of a measured value in words."""
    return limit_words(measure.quantity.code, measure.component.part_type.rated, measure.known)


def uses_of(line: TaskLine) -> list[str]:
    """Return what a task uses up."""
    return uses_words(line.task, line.row.component.part_type.rated)


def leaving(found: CardPage, now: datetime) -> dict[int, Life]:
    """Return the life of each component that a planned swap takes off."""
    ids = [swap.old_component_id for swap in found.swaps if swap.old_component_id]
    return lives_of(ids, now) if ids else {}


def judged(measure: MeasureLine, value: float, context: dict[str, Any]) -> Verdict:
    """Return what a value in its stored unit means on this part, with what the record knows beside it. Raises a Refusal."""
    return judge(
        measure.quantity.code, value, rated=measure.component.part_type.rated, context={**measure.known, **context}
    )
