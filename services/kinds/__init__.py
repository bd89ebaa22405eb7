"""The kinds of service, one file each. Adding a kind = adding a file here, its test and its row in fixtures/intervals.csv."""

import importlib
import math
import pkgutil
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from services.errors import ImpossibleMeasurement
from services.intervals import covered_tasks
from services.kinds import from_bulletin
from services.kinds.model import Quantity, ServiceKind, Task, Verdict

# What may stand beside a value, and between which bounds it can be true: they keep slips out (common practice, no source).
BESIDE: dict[str, tuple[float, float, str]] = {
    "pitches": (1, 500, "pitches"),
    "temperature_c": (-40, 60, "C"),
    "set_kpa": (50, 3500, "kPa"),
    "new_height_mm": (2, 200, "mm"),
}


@cache
def all_kinds() -> tuple[ServiceKind, ...]:
    """Return every kind, sorted by code."""
    modules = (importlib.import_module(f"{__name__}.{module.name}") for module in pkgutil.iter_modules(__path__))
    return tuple(sorted((module.KIND for module in modules if hasattr(module, "KIND")), key=lambda kind: kind.code))


@cache
def _kinds() -> dict[str, ServiceKind]:
    return {kind.code: kind for kind in all_kinds()}


@cache
def _tasks() -> dict[str, Task]:
    return {task.code: task for kind in all_kinds() for task in kind.tasks}


@cache
def _quantities() -> dict[str, tuple[Quantity, ServiceKind]]:
    return {quantity.code: (quantity, kind) for kind in all_kinds() for quantity in kind.quantities}


def kind(code: str) -> ServiceKind:
    """Return a kind by its code. Raises KeyError."""
    return _kinds()[code]


def all_tasks() -> tuple[Task, ...]:
    """Return every task of every kind."""
    return tuple(_tasks().values())


def task(code: str) -> Task:
    """Return a task by its code, also that of a bulletin. Raises KeyError."""
    return _tasks().get(code) or from_bulletin.task_of(code) or _tasks()[code]


@cache
def tasks_for(part_kind: str) -> tuple[Task, ...]:
    """Return the tasks that hang on parts of this kind."""
    return tuple(task for task in all_tasks() if task.on == part_kind)


@cache
def kind_of_task(code: str) -> ServiceKind:
    """Return the kind a task belongs to."""
    return next(kind for kind in all_kinds() if any(task.code == code for task in kind.tasks))


def quantity(code: str) -> Quantity:
    """Return a measured quantity by its code. Raises KeyError."""
    return _quantities()[code][0]


def includes_map() -> dict[str, tuple[str, ...]]:
    """Return task -> the smaller tasks it includes directly."""
    return {task.code: task.includes for task in all_tasks() if task.includes}


def comes_with(tasks: Iterable[str]) -> dict[str, str]:
    """Return each of these tasks that another of them includes, however deep, with the larger one: done on the way.

    A larger service covers the smaller, never the reverse (services.intervals.covered_tasks).
    """
    asked, includes = set(tasks), includes_map()
    along: dict[str, str] = {}
    for larger in sorted(asked):
        inside = covered_tasks([larger], includes)
        along.update({task: along.get(task, larger) for task in asked & inside.keys()})
    return along


def bench_minutes(tasks: Iterable[str]) -> int:
    """Return the bench minutes of these tasks together: what comes with a larger one among them takes none of its own.

    A task may stand there once for each part it is done on.
    """
    codes = list(tasks)
    along = comes_with(codes)
    return sum(task(code).minutes for code in codes if code not in along)


def judge(
    quantity_code: str,
    value: float,
    *,
    rated: Mapping[str, Any] | None = None,
    context: Mapping[str, Any] | None = None,
) -> Verdict:
    """Return what a measured value means. Raises ImpossibleMeasurement naming the plausible range, or what is missing."""
    measured, owner = _quantities()[quantity_code]
    if isinstance(value, bool) or not math.isfinite(value) or not measured.low <= value <= measured.high:
        raise ImpossibleMeasurement(
            f"{measured.title} lies between {measured.low:g} and {measured.high:g} {measured.unit}.",
            field="value", remedy="Check the value and its unit.",
        )  # fmt: skip
    extra = dict(context or {})
    _check_beside(measured, extra)
    return owner.judge(quantity_code, value, dict(rated or {}), extra)


def _check_beside(measured: Quantity, extra: Mapping[str, Any]) -> None:
    for name in measured.needs:
        if name not in extra:
            raise ImpossibleMeasurement(
                f"{measured.title} needs {name.replace('_', ' ')} too.", field=name, remedy="Enter it beside the value."
            )
    for name in BESIDE.keys() & extra.keys():
        low, high, unit = BESIDE[name]
        if not low <= float(extra[name]) <= high:
            raise ImpossibleMeasurement(
                f"{name.replace('_', ' ').capitalize()} lies between {low:g} and {high:g} {unit}.",
                field=name, remedy="Check the value and its unit.",
            )  # fmt: skip
