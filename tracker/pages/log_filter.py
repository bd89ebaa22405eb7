"""The logbook of the trike page, narrowed by GET parameters: kind, part and words; all there at once, without script."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from django.http import HttpRequest

from services.due_words import say_date
from services.positions import POSITIONS
from tracker.models import Fitment, LogEntry
from tracker.pages.log_words import KIND_WORDS, told
from tracker.pages.paging import asked
from tracker.queries.clock import local_date
from tracker.queries.trike_log import MOST_SEARCHED, LogAsked, log_of

SHOWN = 40
MOST_SHOWN = 1000


@dataclass(frozen=True)
class LogShown:
    """What the page shows of a logbook: rows, what was asked, what can be asked, whether there is more."""

    rows: list[dict[str, Any]]
    asked: LogAsked
    is_cut: bool
    kinds: list[tuple[str, str]]
    parts: list[tuple[int, str]] = field(default_factory=list)

    @property
    def part_words(self) -> str:
        """The component asked for, in words; '' for all."""
        return dict(self.parts).get(self.asked.component_id or 0, "")

    @property
    def kind_words(self) -> str:
        """The kind asked for, in words; '' for all."""
        return KIND_WORDS.get(self.asked.kind, "")


def log_shown(request: HttpRequest, trike_id: int, stays: Iterable[Fitment]) -> LogShown:
    """Return the logbook as the address asks for it; what makes no sense in the address asks for nothing."""
    parts = _parts(stays)
    part = asked(request, "part", {str(pk) for pk, _ in parts})
    want = LogAsked(asked(request, "kind", set(KIND_WORDS)), int(part) if part else None, asked(request, "words"))
    most = MOST_SHOWN if request.GET.get("log") == "all" else SHOWN
    rows = list(islice(_matching(trike_id, want, most), most + 1))
    kinds = sorted(KIND_WORDS.items(), key=lambda item: item[1])
    return LogShown(rows[:most], want, len(rows) > most, kinds, parts)


def _matching(trike_id: int, want: LogAsked, most: int) -> Iterable[dict[str, Any]]:
    entries = log_of(trike_id, want)
    if not want.words:
        return (told(entry) for entry in entries[: most + 1])
    wanted = want.words.casefold()
    searched: Iterable[LogEntry] = entries[:MOST_SEARCHED]
    return (row for row in (told(entry) for entry in searched) if wanted in _all_words(row))


def _all_words(row: dict[str, Any]) -> str:
    """Everything a person reads of an entry."""
    entry = row["entry"]
    who = f"{entry.actor} {entry.actor.username}" if entry.actor else ""
    day = say_date(local_date(entry.occurred_at))
    return f"{row['kind']}: {row['words']} {day} {who} {entry.source}".casefold()


def _parts(stays: Iterable[Fitment]) -> list[tuple[int, str]]:
    """(component id, words) of what sits or sat on the trike, by position; what left says when."""
    order = {code: place for place, code in enumerate(POSITIONS)}
    rows = sorted(stays, key=lambda stay: (order.get(stay.position, len(order)), stay.fitted_at))
    found = {}
    for stay in rows:
        until = f", until {say_date(local_date(stay.removed_at))}" if stay.removed_at else ""
        found[stay.component_id] = f"{POSITIONS[stay.position].title.capitalize()}: {stay.component}{until}"
    return list(found.items())
