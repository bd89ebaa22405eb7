"""Walks the chains of the logbook in the database's own order, one entry at a time, and tells where they do not hold."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from services.logbook import Break, first_break
from tracker.models import LogEntry, Trike
from tracker.queries.logbook import chains_in

MOST = 250_000  # entries in one go; some 15 s at 60 microseconds each, inside what a web worker may take


@dataclass(frozen=True)
class BrokenChain:
    """A trike whose logbook does not hold, and its first bad entry."""

    trike: Trike
    first: Break


@dataclass(frozen=True)
class LogCheck:
    """What a walk found. go_on_after: the last trike walked where others are left, None where all were."""

    entries: int
    trikes: int
    broken: list[BrokenChain]
    go_on_after: int | None
    head: LogEntry | None

    @property
    def holds(self) -> bool:
        """Whether every chain walked holds."""
        return not self.broken


@dataclass
class _Walk:
    """Entries as they stream by, counted."""

    seen: int = 0
    last: LogEntry | None = None
    chains: int = 0
    breaks: dict[int, Break] = field(default_factory=dict)

    def counted(self, entries: Iterable[LogEntry]) -> Iterator[LogEntry]:
        for entry in entries:
            self.seen, self.last = self.seen + 1, entry
            yield entry


def check_logbook(*, trike_id: int | None = None, after: int = 0, most: int = MOST) -> LogCheck:
    """Walk the chain of one trike, or those of all trikes with a higher id than `after`, until `most` entries are read.

    It stops between two trikes. Two queries, and memory for one batch of entries however long the logbook is.
    """
    rows = (
        LogEntry.objects.filter(trike_id__gt=after) if trike_id is None else LogEntry.objects.filter(trike_id=trike_id)
    )
    walk, last, stopped = _Walk(), after, None
    entries = walk.counted(rows.order_by("trike_id", "seq").iterator(chunk_size=2000))
    for pk, chain in chains_in(entries):
        if walk.seen > most:  # the first entry of this trike is read already
            stopped, walk.seen = last, walk.seen - 1
            break
        if broken := first_break(chain):
            walk.breaks[pk] = broken
        walk.chains += 1
        last = pk
    return LogCheck(walk.seen, walk.chains, _named(walk.breaks), stopped, walk.last if trike_id is not None else None)


def _named(breaks: dict[int, Break]) -> list[BrokenChain]:
    trikes = Trike.objects.in_bulk(list(breaks)) if breaks else {}
    return [BrokenChain(trikes[pk], first) for pk, first in breaks.items()]
