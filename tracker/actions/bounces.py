"""Mail that came back: an address that does not work is written to no more, a complaint stops reminders, the desk sees it.

Only who got a letter knows the token in its sender address and its Message-ID: nobody can stop a stranger's mail.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import F

from services.bounces import SOFT_COUNT, SOFT_HOURS, Kind, Returned, settled_kind
from tracker.actions.bulletin_notices import follow_letter
from tracker.actions.letters import one_line
from tracker.actions.posting import address_mark, message_id_of, token_in
from tracker.actions.transactions import action
from tracker.models import OutboxMessage, Owner

KEPT = 20  # reports kept per letter; a mail loop must not fill the record
WORDS = {
    Kind.HARD: "does not arrive",
    Kind.SOFT: "did not arrive this time",
    Kind.COMPLAINT: "called unwanted by its reader",
}


@dataclass(frozen=True)
class Noted:
    """What became of a report: the letter it speaks of, and whether mail to its owner stopped because of it."""

    message: OutboxMessage | None
    kind: Kind
    stopped: bool = False


@action
def note_bounce(*, returned: Returned, report: str, now: datetime) -> Noted:
    """Write down that a letter came back. `report` tells reports apart: the same one again counts once.

    Hard: the address is dead at once. Soft: three within 72 hours are as good as that. Complaint: reminders stop.
    """
    kind = settled_kind(returned.kind, returned.status)
    message = _letter_of(returned)
    if message is None or kind not in WORDS:
        return Noted(message, kind)
    told: list[dict[str, str]] = message.payload.get("returns", [])
    if any(one["report"] == report for one in told) or len(told) >= KEPT:
        return Noted(message, kind)
    told = [*told, {"report": report, "kind": kind, "status": returned.status, "at": now.isoformat()}]
    message.payload = {**message.payload, "returns": told}
    message.bounced_at = now
    code = "" if returned.status in returned.note else returned.status
    message.bounce_note = one_line(f"{WORDS[kind]}: {code} {returned.note}")[:400]
    message.save(update_fields=["payload", "bounced_at", "bounce_note"])
    stopped = _stop(message, kind, now)
    if stopped and kind is not Kind.COMPLAINT:
        follow_letter(message, reached=False, now=now)
    return Noted(message, kind, stopped)


def _letter_of(returned: Returned) -> OutboxMessage | None:
    """The letter a report speaks of: by the token of its sender address, else by a Message-ID."""
    tokens = [token for token in map(token_in, returned.addresses) if token]
    for names in (list(map(message_id_of, tokens)), list(returned.message_ids)):
        found = _held(names)
        if found is not None:
            return found
    return None


def _held(message_ids: Sequence[str]) -> OutboxMessage | None:
    rows = OutboxMessage.objects.select_for_update(of=("self",)).filter(message_id__in=message_ids)
    return rows.order_by("-pk").first() if message_ids else None


def _stop(message: OutboxMessage, kind: Kind, now: datetime) -> bool:
    """Stop mail to the owner where the report asks for it; return whether it did."""
    owner = Owner.objects.filter(pk=message.owner_id).first()
    if owner is None:
        return False
    if kind is Kind.COMPLAINT:
        return _set_once(owner, "stopped_at", now)
    written_to = message.payload.get("to", "")
    if written_to and written_to != address_mark(owner):  # another address was given since
        return False
    if kind is Kind.SOFT and _soft_lately(owner, now) < SOFT_COUNT:
        return False
    return _set_once(owner, "email_dead_at", now)


def _set_once(owner: Owner, field: str, now: datetime) -> bool:
    values: dict[str, Any] = {field: now, "version": F("version") + 1}
    return bool(Owner.objects.filter(pk=owner.pk, email=owner.email, **{f"{field}__isnull": True}).update(**values))


def _soft_lately(owner: Owner, now: datetime) -> int:
    """Soft reports about letters to the owner's present address within the last 72 hours."""
    since, mark = now - timedelta(hours=SOFT_HOURS), address_mark(owner)
    payloads = OutboxMessage.objects.filter(owner=owner, bounced_at__gt=since).values_list("payload", flat=True)
    return sum(
        one["kind"] == Kind.SOFT and datetime.fromisoformat(one["at"]) > since
        for payload in payloads
        if payload.get("to", mark) == mark
        for one in payload.get("returns", [])
    )
