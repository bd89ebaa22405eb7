"""What is done at the bench: tasks with what came of them, measurements, failures."""

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from services.failures import check_failure
from services.identity import clean_text
from services.kinds import all_tasks, judge, quantity
from services.kinds.from_bulletin import number_of
from services.units import to_kpa
from tracker.actions.card_steps import draft_card, fitted_here, touch
from tracker.actions.refusals import FieldInvalid, UnknownQuantity, UnknownTask
from tracker.actions.transactions import action
from tracker.models import Component, Failure, JobCard, JobTask, Measurement, User
from tracker.queries.bulletin_parts import asking_parts, task_code
from tracker.queries.cards import known_beside, set_up_of


@action
def set_task(
    *, card_id: int, component_id: int, task: str, outcome: str, note: str = "", not_affected: bool = False,
    by: User | None = None, now: datetime,
) -> JobTask:  # fmt: skip
    """Put a task on the card, or say what came of it: proposed, done, deferred. Raises UnknownTask, NotThisTrike.

    not_affected: of a bulletin's work that is done: the part was inspected, and what the bulletin speaks of is not there.
    """
    card = draft_card(card_id)
    fitment = fitted_here(card, component_id)
    known = {t.code: t for t in all_tasks()}
    fits = task in known and known[task].on == fitment.component.part_type.kind
    if not fits and not _asked_by_bulletin(component_id, task):
        raise UnknownTask(
            f"'{task}' is no task of a {fitment.component.part_type.get_kind_display()}.", field="task",
            remedy="Choose a task of this component.",
        )  # fmt: skip
    if outcome not in JobTask.Outcome.values:
        raise FieldInvalid(f"'{outcome}' is no outcome.", field="outcome", remedy="Use proposed, done or deferred.")
    row, _ = JobTask.objects.update_or_create(
        card=card, component_id=component_id, task=task,
        defaults={"outcome": outcome, "note": clean_text(note, 400), "not_affected": not_affected or None},
    )  # fmt: skip
    touch(card)
    return row


def _asked_by_bulletin(component_id: int, task: str) -> bool:
    """Whether the task is what a released bulletin asks of this component."""
    number = number_of(task)
    rows = asking_parts().filter(component_id=component_id, bulletin__number=number).select_related("bulletin")
    return bool(number) and any(task_code(row.bulletin) == task for row in rows)


@action
def drop_task(*, card_id: int, component_id: int, task: str, by: User | None = None, now: datetime) -> JobCard:
    """Take a task off a draft card."""
    card = draft_card(card_id)
    JobTask.objects.filter(card=card, component_id=component_id, task=task).delete()
    return touch(card)


@action
def record_measurement(
    *, card_id: int, component_id: int, quantity_code: str, value: float, unit: str = "",
    context: Mapping[str, Any] | None = None, instrument: str = "", by: User | None = None, now: datetime,
) -> Measurement:  # fmt: skip
    """Record a measured value; its meaning in words comes from the service kind. Measured again, it replaces the draft.

    Where nobody says what a shock was set to, the pressure of the handover counts.

    Raises UnknownQuantity, NotThisTrike, ImpossibleMeasurement (naming the plausible range), FieldInvalid.
    """
    card = draft_card(card_id)
    row = write_measurement(card, component_id, quantity_code, value, unit, context or {}, instrument, now)
    touch(card)
    return row


def write_measurement(
    card: JobCard, component_id: int, quantity_code: str, value: float, unit: str, context: Mapping[str, Any],
    instrument: str, now: datetime, *, save: bool = True,
) -> Measurement:  # fmt: skip
    """Judge a measured value and write it onto the card; not saved, it only tells what would stand there. A step."""
    part = fitted_here(card, component_id).component
    known = _quantity_of(part, quantity_code)
    extra = known_beside(known, set_up_of(card.trike_id))
    extra |= {name: _number(number, name) for name, number in context.items()}
    stored = in_stored_unit(_number(value, "value"), unit, known.unit)
    verdict = judge(quantity_code, stored, rated=part.part_type.rated, context=extra)
    values = {"value": stored, "context": extra, "instrument": clean_text(instrument, 80), "level": verdict.level,
              "words": verdict.words[:200], "taken_at": now}  # fmt: skip
    which = {"card": card, "component_id": component_id, "quantity": quantity_code}
    if not save:
        return Measurement(**which, **values)
    return Measurement.objects.update_or_create(**which, defaults=values)[0]


def _quantity_of(part: Component, code: str) -> Any:
    kind = part.part_type.kind
    asked = {q for task in all_tasks() if task.on == kind for q in task.asks}
    if code not in asked:
        raise UnknownQuantity(
            f"'{code}' is not measured on a {part.part_type.get_kind_display()}.", field="quantity",
            remedy=f"What is: {', '.join(sorted(asked)) or 'nothing'}.",
        )  # fmt: skip
    return quantity(code)


def _number(value: Any, field: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise FieldInvalid(f"{field} must be a number.", field=field, remedy="Enter digits with one decimal point.")
    return float(value)


def in_stored_unit(value: float, unit: str, stored: str) -> float:
    """Return `value` in the quantity's own unit. Raises FieldInvalid for a unit that does not fit."""
    if not unit or unit == stored:
        return value
    if stored == "kPa" and unit in {"psi", "bar"}:
        return float(to_kpa(value, unit))
    raise FieldInvalid(f"This is measured in {stored}, not in {unit}.", field="unit", remedy=f"Use {stored}.")


@action
def record_failure(
    *, card_id: int, component_id: int, mode: str, cause: str = "", found: str = "", warranty: bool = False,
    note: str = "", by: User | None = None, now: datetime,
) -> Failure:  # fmt: skip
    """Record that a component failed. Raises NotThisTrike, BadFailureCode."""
    card = draft_card(card_id)
    fitted_here(card, component_id)
    check_failure(mode, cause, found)
    row, _ = Failure.objects.update_or_create(
        card=card, component_id=component_id,
        defaults={"trike_id": card.trike_id, "mode": mode, "cause": cause, "found": found, "warranty": warranty,
                  "happened_at": now, "note": clean_text(note, 400)},
    )  # fmt: skip
    touch(card)
    return row
