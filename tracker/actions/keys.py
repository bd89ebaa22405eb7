"""API keys: made, shown once, kept as a hash, revoked."""

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db.models import Q

from services.identity import clean_text
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, NotEnough
from tracker.actions.transactions import action
from tracker.models import ApiClient
from tracker.models.access import ROLES

# What a key may be allowed, beyond what its role allows.
SCOPES = {
    "read": "read the register, the schedule, job cards and the logbook",
    "owners:read": "read owners' names and addresses, and which messages went to them",
    "fleet:write": "register components and trikes, fit and remove components",
    "readings:write": "record odometer and meter readings, display changes and occurrences",
    "jobs:write": "open and fill job cards; never sign them",
    "owners:write": "add and change owners",
    "imports:write": "upload and confirm spreadsheets",
    "bounces:write": "tell which letters came back",
}


def digest(key: str) -> str:
    """Return what is kept of a key: its SHA-256. Keys are random, so no salt or slow hash is needed."""
    return hashlib.sha256(key.encode()).hexdigest()


@action
def create_key(*, name: str, role: str, scopes: Sequence[str], now: datetime) -> tuple[ApiClient, str]:
    """Return a new client and its key, `prefix.secret`, which nobody can see again.

    Raises NotEnough, FieldInvalid, Conflict (the name is taken).
    """
    label = clean_text(name, 80).strip()
    if not label:
        raise NotEnough("A key needs a name.", field="name", remedy="Name the system that will use it.")
    if role not in ROLES:
        raise FieldInvalid(f"'{role}' is no role.", field="role", remedy=f"Use one of {', '.join(ROLES)}.")
    unknown = sorted(set(scopes) - set(SCOPES))
    if unknown or not scopes:
        raise FieldInvalid(
            f"Unknown scopes: {', '.join(unknown) or 'none given'}.", field="scopes", remedy=f"Use {', '.join(SCOPES)}."
        )
    if ApiClient.objects.filter(name=label).exists():
        raise Conflict(f"A key named '{label}' exists.", field="name", remedy="Revoke it, or use another name.")
    prefix, secret = secrets.token_hex(6), secrets.token_urlsafe(32)
    key = f"{prefix}.{secret}"
    client = ApiClient.objects.create(
        name=label, role=role, scopes=sorted(set(scopes)), prefix=prefix, key_hash=digest(key), created_at=now
    )
    return client, key


@action
def revoke_key(*, client_id: int, now: datetime) -> ApiClient:
    """End a key at once; the row stays as a record. Raises Invalid."""
    client = ApiClient.objects.filter(pk=client_id).first()
    if client is None:
        raise Invalid("There is no such key.", field="id", remedy="Look it up again.")
    if client.revoked_at is None:
        client.revoked_at = now
        client.save(update_fields=["revoked_at"])
    return client


def note_use(client: ApiClient, now: datetime) -> None:
    """Remember that a key was used: at most once a minute, by one guarded UPDATE."""
    minute_ago = now - timedelta(minutes=1)
    if client.last_used_at is not None and client.last_used_at > minute_ago:
        return
    stale = Q(last_used_at__isnull=True) | Q(last_used_at__lte=minute_ago)
    ApiClient.objects.filter(stale, pk=client.pk).update(last_used_at=now)
