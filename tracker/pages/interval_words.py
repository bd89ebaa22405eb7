"""What an interval was and became, in words for a list."""

from dataclasses import dataclass

from services.kinds import task as task_of
from tracker.actions.interval_steps import ALWAYS
from tracker.models import IntervalChange

UNITS = {"km": "km", "days": "days", "months": "months", "hours": "motor hours", "cycles": "charge cycles"}
WHEN = {"first": "first at", "every": "then every", "early": "early by"}
PLAIN = {"rebase": "the next one counts", "once": "once only", "source": "source"}


@dataclass(frozen=True)
class Change:
    """One change: the task, what differs in words, and the row it was kept in."""

    row: IntervalChange
    task: str
    words: list[str]


def change_words(row: IntervalChange) -> Change:
    """Return a kept change in words: 'first at: 6,000 km, was 8,000 km'."""
    told = [
        _one(name, row.before.get(name), value, new=not row.before)
        for name, value in row.after.items()
        if name not in ALWAYS and (row.before or (name not in PLAIN and value))
    ]
    try:
        title = task_of(row.after["task"]).title
    except KeyError:
        title = row.after["task"]
    return Change(row, title, told)


def _one(name: str, old: object, value: object, *, new: bool) -> str:
    if name in PLAIN:
        title, now, was = PLAIN[name], _plain(value), _plain(old)
    else:
        when, unit = name.split("_", 1)
        title, now, was = WHEN[when], _number(value, UNITS[unit]), _number(old, UNITS[unit])
    return f"{title}: {now}" if new else f"{title}: {now}, was {was}"


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).replace("_", " ") if value else "nothing"


def _number(value: object, unit: str) -> str:
    return f"{value:,.0f} {unit}" if isinstance(value, int | float) and value else "not used"
