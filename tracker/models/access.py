"""Who may come in: staff, API clients, owners behind a link; and the answers kept for repeated requests."""

from django.contrib.auth.models import AbstractUser
from django.db import models

ROLES = ("desk", "mechanic", "reviewer", "admin")
LINK_PURPOSES = [("page", "owner page"), ("stop", "stop reminders"), ("feed", "calendar feed")]


class User(AbstractUser):
    """A person of the workshop. Roles are the groups desk, mechanic, reviewer and admin."""

    display_name = models.CharField(max_length=80, blank=True)
    pin = models.CharField(max_length=128, blank=True)  # a salted hash; empty: signs with the password only

    class Meta:
        ordering = ["username", "pk"]

    def __str__(self) -> str:
        return self.display_name or self.get_full_name() or self.username


class ApiClient(models.Model):
    """Another system with a key of its own. The key is shown once; only its SHA-256 is kept."""

    name = models.CharField(max_length=80, unique=True)
    role = models.CharField(max_length=10, choices=[(role, role) for role in ROLES], default="desk")
    scopes = models.JSONField(default=list, blank=True)  # e.g. ["read", "readings:write", "jobs:write"]
    prefix = models.CharField(max_length=12, unique=True)
    key_hash = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class OwnerLink(models.Model):
    """The key to one owner's page of one trike: a random token, kept as its SHA-256, with an end."""

    token_hash = models.CharField(max_length=64, unique=True)
    trike = models.ForeignKey("tracker.Trike", on_delete=models.CASCADE, related_name="owner_links")
    owner = models.ForeignKey("tracker.Owner", on_delete=models.CASCADE, related_name="links")
    purpose = models.CharField(
        max_length=12, choices=[("page", "owner page"), ("stop", "stop reminders"), ("feed", "calendar feed")]
    )
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.purpose} link for {self.trike}"


class IdempotencyRecord(models.Model):
    """The answer once given to a request with an Idempotency-Key, so that a retry gets the same."""

    actor = models.CharField(max_length=64)
    key = models.CharField(max_length=255)
    request_hash = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)  # NULL while the first request still runs
    body = models.JSONField(null=True)
    headers = models.JSONField(default=dict)
    created_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["actor", "key"], name="one_answer_per_idempotency_key")]

    def __str__(self) -> str:
        return f"{self.actor}: {self.key}"
