"""Why a task is done at this visit, told in a mechanic's words."""

from collections.abc import Sequence
from datetime import date

from services.due_words import say_date
from services.visits import VisitTask, latest_on

NAMED = 2  # tasks named in the sentence of a visit; the others are counted


def reasons(tasks: Sequence[VisitTask], on: date) -> tuple[str, ...]:
    """Return one sentence per task of a visit, in the same order: why it is done on that day."""
    if not tasks:
        return ()
    caller = calling(tasks)
    return tuple(_own(task, on) if task is caller else _along(task, on, _the(caller)) for task in tasks)


def words(tasks: Sequence[VisitTask], on: date) -> str:
    """Return the visit in one or two sentences: the task that calls for it, and what comes along."""
    caller = calling(tasks)
    others = [task for task in tasks if task is not caller]
    told = [_along(task, on, "it") for task in others[:NAMED]]
    if len(others) > NAMED:
        told.append(f"{len(others) - NAMED} more come{'s' if len(others) - NAMED == 1 else ''} along.")
    return " ".join([_own(caller, on), *told])


def calling(tasks: Sequence[VisitTask]) -> VisitTask:
    """Return the task that decides the day: the one that can wait least."""
    return min(tasks, key=lambda task: (latest_on(task), not task.safety, str(task.key)))


def _own(task: VisitTask, on: date) -> str:
    title = task.title or "The first task"
    limit = latest_on(task) if task.safety else task.due_on
    if limit < on:
        return f"{title} {'should have been done by' if task.safety else 'has been due since'} {say_date(limit)}."
    if task.safety:
        return f"{title} must be done by {say_date(limit)}."
    return f"{title} falls due {'about' if len(task.quantiles) > 1 else 'on'} {say_date(task.due_on)}."


def _along(task: VisitTask, on: date, companion: str) -> str:
    title = task.title or "Another task"
    days = (task.due_on - on).days
    if days < 0:
        return f"{title} has been due since {say_date(task.due_on)}."
    if days == 0:
        return f"{title} falls due on the same day."
    return f"{title} moved {days} day{'' if days == 1 else 's'} forward to go with {companion}."


def _the(task: VisitTask) -> str:
    """The task's title inside a sentence: 'the hub oil'; a title that begins with capitals keeps them."""
    title = task.title or "first task"
    return f"the {title if title[1:2].isupper() else title[:1].lower() + title[1:]}"
