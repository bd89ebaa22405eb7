"""API keys on the wire: `Authorization: Api-Key <prefix>.<secret>`."""

import secrets
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from tracker.actions.keys import digest, note_use
from tracker.models import ApiClient, User

SCHEME = "Api-Key"
CHALLENGE = f'{SCHEME} realm="workshop"'


@dataclass(frozen=True)
class Machine:
    """Another system behind a key: somebody who may come in, but no person and so no signer."""

    client: ApiClient
    is_authenticated: bool = True
    is_anonymous: bool = False
    is_active: bool = True
    is_superuser: bool = False
    is_staff: bool = False
    pk: None = None

    def __str__(self) -> str:
        return self.client.name


class ApiKeyAuthentication(BaseAuthentication):
    """Let a client in by its key. Unknown, wrong and revoked keys get the same answer."""

    def authenticate(self, request: Request) -> tuple[Machine, ApiClient] | None:
        """Return the machine, or None when the header is of another scheme or absent. Raises AuthenticationFailed."""
        scheme, _, key = request.headers.get("Authorization", "").strip().partition(" ")
        if not scheme:
            return None
        client = _client_of(key.strip()) if scheme.lower() == SCHEME.lower() else None
        if client is None:
            raise AuthenticationFailed("The key is not valid.")
        note_use(client, timezone.now())
        return Machine(client), client

    def authenticate_header(self, request: Request) -> str:
        """The challenge of a 401."""
        return CHALLENGE


def _client_of(key: str) -> ApiClient | None:
    prefix, _, secret = key.partition(".")
    if not (secret and key.isascii() and len(key) <= 120):
        return None
    client = ApiClient.objects.filter(prefix=prefix, revoked_at__isnull=True).first()
    kept = client.key_hash if client else digest("")
    return client if secrets.compare_digest(kept, digest(key)) and client else None


def person_of(request: Request) -> User | None:
    """Return who is logged in, or None behind a key."""
    return request.user if isinstance(request.user, User) else None


def client_of(request: Request) -> ApiClient | None:
    """Return the client behind a key, or None."""
    return request.auth if isinstance(request.auth, ApiClient) else None


def actor_of(request: Any) -> str:
    """Return a short name for who asks, stable over requests: for idempotency records and throttles."""
    client = client_of(request)
    if client is not None:
        return f"key:{client.pk}"
    return f"user:{request.user.pk}" if request.user.is_authenticated else ""
