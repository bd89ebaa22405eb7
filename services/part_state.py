"""How one part of a trike stands, in one word: from what is due on it and what was measured last.

overdue, due (today), soon (inside the early window), watch (a measured value asks for attention), fine; a place where a
build records a serial and none is known is 'unrecorded', one that may be empty is 'empty'.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from services.due_words import say_date

WORST_FIRST = ("overdue", "due", "soon", "watch", "fine")
TITLES = {
    "overdue": "overdue", "due": "due today", "soon": "due soon", "watch": "watch: measured", "fine": "fine",
    "unrecorded": "not recorded", "empty": "no record kept",
}  # fmt: skip
LETTERS = {"overdue": "O", "due": "D", "soon": "S", "watch": "W", "fine": "", "unrecorded": "?", "empty": ""}
LEVELS = {"watch": "look again", "soon": "replace soon", "replace": "replace", "stop": "do not ride"}
NEAR = timedelta(days=270)  # so far a day and its month leave no doubt about the year


@dataclass(frozen=True)
class PartState:
    """A state, the day it rests on where there is one, and the level that a measurement came to."""

    code: str
    on: date | None = None
    level: str = ""


def state_of(due: Iterable[tuple[str, date]], level: str = "") -> PartState:
    """Return how a fitted part stands. due: (status, day) of its tasks; level: what its last measurement came to."""
    known = sorted(due, key=lambda line: line[1])
    for code in ("overdue", "due", "soon"):
        days = [on for status, on in known if status == code]
        if days:
            return PartState(code, days[0], level)
    if level in LEVELS:
        return PartState("watch", None, level)
    return PartState("fine", known[0][1] if known else None)


def state_without_part(*, serial_expected: bool) -> PartState:
    """Return how a place stands on which nothing is on record."""
    return PartState("unrecorded" if serial_expected else "empty")


def short_words(state: PartState, today: date) -> str:
    """Return the state in two or three words, as beside a drawing: 'overdue 3 Mar', 'due 3 Mar', 'replace soon', 'fine'."""
    if state.code == "overdue":
        return f"overdue {near_date(state.on, today)}" if _is_near(state.on, today) else "long overdue"
    if state.code == "soon":
        return f"due {near_date(state.on, today)}"
    if state.code == "watch":
        return LEVELS[state.level]
    return TITLES[state.code]


def full_words(state: PartState, today: date) -> str:
    """Return the state in full, as read aloud: 'overdue since 3 Mar', 'fine, next due 3 Mar 2027'."""
    if state.code == "overdue":
        return f"overdue since {near_date(state.on, today)}"
    if state.code == "watch":
        return f"measured, {LEVELS[state.level]}"
    if state.code == "fine" and state.on is not None:
        return f"fine, next due {near_date(state.on, today)}"
    return short_words(state, today)


def near_date(day: date, today: date) -> str:
    """Return '3 Mar', with its year where that could be doubted."""
    return f"{day.day} {day:%b}" if _is_near(day, today) else say_date(day)


def _is_near(day: date, today: date) -> bool:
    return abs(day - today) < NEAR
