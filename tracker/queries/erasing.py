"""What stands of an owner where only a person can judge it, and what of uploaded files is theirs."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet, TextField
from django.db.models.functions import Cast

from services.identity import fold_name
from tracker.models import (
    BulletinPart,
    BulletinStep,
    Component,
    Failure,
    Handover,
    ImportBatch,
    ImportRow,
    JobCard,
    JobTask,
    LogEntry,
    OdometerReading,
    Owner,
    Photo,
    Trike,
)

ANSWER_WITHIN = timedelta(days=30)  # 'within one month': Article 12(3) of the General Data Protection Regulation


def asked() -> QuerySet[Owner]:
    """Return the owners who wait to be erased, the longest waiting first."""
    return Owner.objects.filter(erase_asked_at__isnull=False).order_by("erase_asked_at", "pk")


def answer_by(owner: Owner) -> datetime | None:
    """Return until when they must have an answer; None where they did not ask."""
    return owner.erase_asked_at + ANSWER_WITHIN if owner.erase_asked_at else None


def imported_rows(owner: Owner) -> list[ImportRow]:
    """Return the rows of delivery files that name this owner as they are named on record, or by their address."""
    rows = ImportRow.objects.filter(batch__kind=ImportBatch.Kind.DELIVERIES)
    name, address = fold_name(owner.name), owner.email.casefold()
    return [row for row in rows.iterator(chunk_size=500) if _names(row, name, address)]


def _names(row: ImportRow, name: str, address: str) -> bool:
    told = str(row.raw.get("E-mail") or "").strip().casefold()
    return fold_name(str(row.raw.get("Owner") or "")) == name or bool(address and told == address)


@dataclass(frozen=True)
class Mention:
    """A text somebody typed that names an owner. `link`: where it is read, and changed where it may be."""

    where: str
    link: str
    is_signed: bool


def mentions(owner: Owner) -> list[Mention]:
    """Return the typed texts that hold the owner's name, address or number: a person decides about them.

    Signed ones cannot be changed any more. One query through each table, whole: for a page that is opened seldom.
    """
    words = [word for word in (owner.name, owner.email, owner.phone) if word.strip()]
    found: list[Mention] = []
    for rows, fields, told in SEARCHED:
        found += [told(row) for row in _holding(rows.all(), words, *fields)]
    return found


def _on_card(row: JobTask | Failure | Photo) -> Mention:
    """A text that hangs on a job card, or a failure told of elsewhere."""
    if row.card is None:
        return Mention(f"Failure of {row.component}", f"/components/{row.component_id}/", False)
    words = f"{row._meta.verbose_name.capitalize()} on job card {row.card.number}"
    return Mention(words, f"/jobs/{row.card_id}/", row.card.state == JobCard.State.SIGNED)


# What people type about a trike, a part or work: (rows, its fields, how it is told).
SEARCHED: tuple[tuple[QuerySet, tuple[str, ...], Callable[[Any], Mention]], ...] = (
    (JobCard.objects, ("complaint", "cause", "correction", "summary"),
     lambda row: Mention(f"Job card {row.number}", f"/jobs/{row.pk}/", row.state == JobCard.State.SIGNED)),
    (JobTask.objects.select_related("card"), ("note",), _on_card),
    (Failure.objects.select_related("card", "component"), ("note",), _on_card),
    (Photo.objects.select_related("card"), ("caption",), _on_card),
    (Component.objects, ("note",), lambda row: Mention(f"Component {row}", f"/components/{row.pk}/", False)),
    (Trike.objects, ("stolen_note", "retired_reason"),
     lambda row: Mention(f"Trike {row}", f"/trikes/{row.pk}/", False)),
    (OdometerReading.objects.select_related("trike"), ("note",),
     lambda row: Mention(f"Reading of trike {row.trike}", f"/trikes/{row.trike_id}/", False)),
    (Handover.objects.select_related("trike"), ("note",),
     lambda row: Mention(f"Handover of trike {row.trike}", f"/trikes/{row.trike_id}/", True)),
    (BulletinPart.objects.select_related("bulletin"), ("note",),
     lambda row: Mention(f"Bulletin {row.bulletin.number}", f"/bulletins/{row.bulletin_id}/", False)),
    (BulletinStep.objects.select_related("bulletin"), ("note",),
     lambda row: Mention(f"Course of bulletin {row.bulletin.number}", f"/bulletins/{row.bulletin_id}/", True)),
    (LogEntry.objects.select_related("trike").annotate(text=Cast("body", TextField())), ("text",),
     lambda row: Mention(f"Logbook of trike {row.trike}, entry {row.seq}", f"/trikes/{row.trike_id}/", True)),
)  # fmt: skip


def _holding(rows: QuerySet, words: list[str], *fields: str) -> QuerySet:
    test = Q(pk__in=[])
    for field in fields:
        for word in {*words, *(json.dumps(word)[1:-1] for word in words)}:  # SQLite keeps JSON in ASCII
            test |= Q(**{f"{field}__icontains": word})
    return rows.filter(test).order_by("pk")
