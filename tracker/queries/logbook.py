"""Reads of the logbook: what is hashed, and the chains."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from services.logbook import Break, first_break
from tracker.models import LogEntry

Link = tuple[int, str, dict[str, Any], str]  # (seq, previous hash, sealed content, hash)


def stamp(moment: datetime) -> str:
    """Return a moment the way it is hashed: UTC, to the microsecond."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def sealed(entry: LogEntry) -> dict[str, Any]:
    """Return everything of `entry` that its hash covers. Rows are named by id, people never by name."""
    return {
        "trike": entry.trike_id,
        "component": entry.component_id,
        "seq": entry.seq,
        "kind": entry.kind,
        "occurred_at": stamp(entry.occurred_at),
        "recorded_at": stamp(entry.recorded_at),
        "actor": entry.actor_id,
        "source": entry.source,
        "amends": entry.amends_id,
        "body": entry.body,
    }


def chain_of(trike_id: int) -> Iterator[Link]:
    """Yield one trike's entries as links of its chain, oldest first."""
    return map(_link, LogEntry.objects.filter(trike_id=trike_id).order_by("seq").iterator(chunk_size=2000))


def chains_in(entries: Iterable[LogEntry]) -> Iterator[tuple[int, Iterator[Link]]]:
    """Yield (trike id, its chain) of entries that come trike by trike; a chain is to be read before the next."""
    for pk, group in groupby(entries, key=lambda entry: entry.trike_id):
        yield pk, map(_link, group)


def broken_chains() -> Iterator[tuple[int, Break]]:
    """Yield (trike id, first break) for every trike whose chain does not hold. One query for the whole logbook."""
    for pk, chain in chains_in(LogEntry.objects.order_by("trike_id", "seq").iterator(chunk_size=2000)):
        if broken := first_break(chain):
            yield pk, broken


def _link(entry: LogEntry) -> Link:
    return entry.seq, entry.prev_hash, sealed(entry), entry.hash
