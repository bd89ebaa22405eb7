"""Steps that several actions share. They open no transaction of their own: they run inside the action's."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import OuterRef, Subquery

from services.identity import clean_text
from services.logbook import entry_hash
from tracker.actions.refusals import FieldNotChangeable, Invalid, StaleVersion
from tracker.models import Component, DueLine, Fitment, LogEntry, Trike, User
from tracker.queries.due import differs, due_lines_of, trikes_sharing_parts
from tracker.queries.logbook import sealed


@dataclass(frozen=True)
class LogDraft:
    """What an action wants to stand in the logbook."""

    trike_id: int
    kind: str
    occurred_at: datetime
    body: dict[str, Any] = field(default_factory=dict)
    component_id: int | None = None
    actor_id: int | None = None
    source: str = "desk"
    amends_id: int | None = None


def draft_of(
    trike_id: int,
    kind: str,
    at: datetime,
    by: User | None,
    source: str,
    body: dict[str, Any],
    component_id: int | None = None,
) -> LogDraft:
    """Return the draft of what a person (or nobody, for a file or another system) did at `at`."""
    return LogDraft(trike_id, kind, at, body, component_id, by.pk if by else None, source)


def write_logs(drafts: Sequence[LogDraft], now: datetime) -> list[LogEntry]:
    """Append the drafts, in order, each chained to the entry before it on the same trike. Three queries in all."""
    return LogEntry.objects.bulk_create(chained_logs(drafts, now), batch_size=500)


def chained_logs(drafts: Sequence[LogDraft], now: datetime) -> list[LogEntry]:
    """Return the drafts as entries to be inserted, with their trikes locked, so that no other writer comes between."""
    ids = sorted({draft.trike_id for draft in drafts})
    lock_trikes(ids)
    heads = _heads(ids)
    entries = []
    for draft in drafts:
        seq, prev = heads.get(draft.trike_id, (0, ""))
        entry = LogEntry(
            trike_id=draft.trike_id, component_id=draft.component_id, seq=seq + 1, kind=draft.kind,
            occurred_at=draft.occurred_at, recorded_at=now, actor_id=draft.actor_id, source=draft.source,
            body=draft.body, amends_id=draft.amends_id, prev_hash=prev,
        )  # fmt: skip
        entry.hash = entry_hash(prev, sealed(entry))
        heads[draft.trike_id] = (entry.seq, entry.hash)
        entries.append(entry)
    return entries


def _heads(ids: list[int]) -> dict[int, tuple[int, str]]:
    """The last number and hash of each trike's chain, by its index: a long chain costs no more than a short one."""
    last = LogEntry.objects.filter(trike=OuterRef("pk")).order_by("-seq")
    rows = Trike.objects.annotate(last=Subquery(last.values("seq")[:1]), head=Subquery(last.values("hash")[:1]))
    heads: dict[int, tuple[int, str]] = {}
    for part in chunks(ids, 500):
        for trike_id, seq, head in rows.filter(pk__in=part, last__isnull=False).values_list("pk", "last", "head"):
            heads[trike_id] = (seq, head)
    return heads


def refresh_due(trike_ids: Iterable[int], now: datetime) -> int:
    """Bring the stored due lines of these trikes, and of trikes that share parts with them, up to date.

    Returns how many lines were added, changed or removed.
    """
    return sum(_refresh(part, now) for part in chunks(lock_trikes(trike_ids), 60))


def _refresh(ids: list[int], now: datetime) -> int:
    fresh = {(line["component_id"], line["task"]): line for line in due_lines_of(ids)}
    parts = {component_id for component_id, _ in fresh}
    stored = {(row.component_id, row.task): row for row in DueLine.objects.filter(trike_id__in=ids)}
    stored |= {(row.component_id, row.task): row for row in DueLine.objects.filter(component_id__in=parts)}
    gone = [row.pk for key, row in stored.items() if key not in fresh]
    moved = [
        DueLine(**values, refreshed_at=now)
        for key, values in fresh.items()
        if key not in stored or differs(stored[key], values)
    ]
    if gone:
        DueLine.objects.filter(pk__in=gone).delete()
    if moved:  # an upsert: bulk_update takes ten times as long
        names = [
            "trike",
            "due_on",
            "likely_from",
            "likely_until",
            "early_on",
            "trigger",
            "due_life_km",
            "safety",
            "owner_can",
            "facts",
            "refreshed_at",
        ]
        DueLine.objects.bulk_create(
            moved, batch_size=500, update_conflicts=True, unique_fields=["component", "task"], update_fields=names
        )
    Trike.objects.filter(pk__in=ids, due_dirty=True).update(due_dirty=False)
    return len(gone) + len(moved)


def chunks(items: Sequence[int], size: int) -> Iterable[list[int]]:
    """Yield `items` in lists of at most `size`."""
    for start in range(0, len(items), size):
        yield list(items[start : start + size])


def lock_trikes(trike_ids: Iterable[int]) -> list[int]:
    """Lock these trikes and those that share parts with them, in the order of their keys; return their ids.

    All at once: two who locked their own trike first, and the one they share parts with later, would wait for each other.
    """
    ids = sorted(trikes_sharing_parts(trike_ids))
    list(Trike.objects.select_for_update(of=("self",)).filter(pk__in=ids).order_by("pk").values_list("pk"))
    return ids


def lock_version(model: type, pk: int, version: int | None) -> Any:
    """Return the row locked; raise StaleVersion if it is not at `version` any more, Invalid if it does not exist."""
    if model is Trike:
        lock_trikes([pk])
    # no_key: its key stays, so that a row which points to it (a letter's link to its owner) can be written meanwhile
    row = model.objects.select_for_update(of=("self",), no_key=True).filter(pk=pk).first()
    if row is None:
        raise Invalid(f"There is no such {model._meta.verbose_name}.", field="id", remedy="Look it up again.")
    if version is not None and row.version != version:
        raise StaleVersion(
            f"Somebody else changed this {model._meta.verbose_name} in the meantime.",
            field="version",
            remedy="Look at what changed, then send your change again.",
        )
    return row


def only_these(changes: Mapping[str, Any], allowed: set[str]) -> None:
    """Raise FieldNotChangeable for the first change that is not `allowed`."""
    for name in changes:
        if name not in allowed:
            raise FieldNotChangeable(
                f"'{name}' cannot be changed.", field=name, remedy=f"What can be: {', '.join(sorted(allowed))}."
            )


def assign(row: Any, changes: Mapping[str, Any]) -> None:
    """Write the changes onto the row, texts cleaned to the length of their column, and raise its version."""
    for name, value in changes.items():
        limit = row._meta.get_field(name).max_length
        setattr(row, name, clean_text(value, limit) if isinstance(value, str) and limit else value)
    row.version += 1
    keys = [column.name for column in row._meta.concrete_fields if getattr(column, "of", None) in changes]
    row.save(update_fields=[*changes, *keys, "version"])


def component_of_trike(component_id: int, trike_id: int) -> Fitment | None:
    """Return the present fitment of a component on a trike, or None."""
    return (
        Fitment.objects.current()
        .filter(component_id=component_id, trike_id=trike_id)
        .select_related("component__part_type")
        .first()
    )


def serial_words(component: Component) -> str:
    """Return a component as the logbook names it."""
    return component.serial or f"batch {component.batch}"
