"""Reads of the logbook: what is hashed, and the chains."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from services.logbook import Break, first_break
from tracker.models import LogEntry


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


def chain_of(trike_id: int) -> Iterator[tuple[int, str, dict[str, Any], str]]:
    """Yield (seq, previous hash, sealed content, hash) of one trike's entries, oldest first."""
    for entry in LogEntry.objects.filter(trike_id=trike_id).order_by("seq").iterator(chunk_size=2000):
        yield entry.seq, entry.prev_hash, sealed(entry), entry.hash


def broken_chains() -> Iterator[tuple[int, Break]]:
    """Yield (trike id, first break) for every trike whose chain does not hold. One query for the whole logbook."""
    group: list[tuple[int, str, dict[str, Any], str]] = []
    current: int | None = None
    for entry in LogEntry.objects.order_by("trike_id", "seq").iterator(chunk_size=2000):
        if current is not None and entry.trike_id != current:
            yield from _break_of(current, group)
            group = []
        current = entry.trike_id
        group.append((entry.seq, entry.prev_hash, sealed(entry), entry.hash))
    if current is not None:
        yield from _break_of(current, group)


def _break_of(trike_id: int, group: list[tuple[int, str, dict[str, Any], str]]) -> Iterator[tuple[int, Break]]:
    broken = first_break(group)
    if broken is not None:
        yield trike_id, broken
