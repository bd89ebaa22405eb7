"""Steps with owner links that several actions share. They open no transaction of their own."""

import secrets
from datetime import datetime, timedelta
from hashlib import sha256

from tracker.models import OwnerLink

# The stop link of an old mail must still work; a calendar is subscribed once and then forgotten.
LIFE_DAYS = {"page": 120, "stop": 800, "feed": 1830}


def hash_of(token: str) -> str:
    """Return what is stored of a token: its SHA-256."""
    return sha256(token.encode(errors="replace")).hexdigest()


def mint_link(trike_id: int, owner_id: int, purpose: str, now: datetime) -> tuple[OwnerLink, str]:
    """Write a new link; return it with its token (256 random bits), which nobody can read back later."""
    token = secrets.token_urlsafe(32)
    link = OwnerLink.objects.create(
        token_hash=hash_of(token),
        trike_id=trike_id,
        owner_id=owner_id,
        purpose=purpose,
        created_at=now,
        expires_at=now + timedelta(days=LIFE_DAYS[purpose]),
    )
    return link, token


def revoke_links_of(trike_id: int, now: datetime) -> int:
    """Revoke every link to a trike, page and stop links alike; return how many were still open."""
    return OwnerLink.objects.filter(trike_id=trike_id, revoked_at__isnull=True).update(revoked_at=now)
