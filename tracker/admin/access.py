"""People, groups and API clients: the only records that are changed in the admin."""

import hashlib
import secrets
from typing import Any

from django.contrib import admin, messages
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest
from django.utils import timezone

from tracker.admin.lookonly import LookOnlyAdmin
from tracker.models import ApiClient, IdempotencyRecord, OwnerLink, User


@admin.register(User)
class PersonAdmin(UserAdmin):
    """People of the workshop. Their role is the group they are in."""

    list_display = ["username", "display_name", "roles", "is_active", "is_staff", "last_login"]
    list_filter = ["groups", "is_active", "is_staff"]
    search_fields = ["username", "display_name"]
    list_per_page = 50
    fieldsets = [
        (None, {"fields": ["username", "password", "display_name"]}),
        ("Role", {"fields": ["groups", "is_active", "is_staff", "is_superuser"]}),
        ("Dates", {"fields": ["last_login", "date_joined"]}),
    ]
    add_fieldsets = [
        (None, {"fields": ["username", "display_name", "usable_password", "password1", "password2", "groups"]})
    ]

    def get_queryset(self, request: HttpRequest) -> Any:
        """With the groups at hand."""
        return super().get_queryset(request).prefetch_related("groups")

    @admin.display(description="roles")
    def roles(self, person: User) -> str:
        """The groups a person is in."""
        return ", ".join(group.name for group in person.groups.all())


@admin.register(ApiClient)
class ApiClientAdmin(admin.ModelAdmin):
    """Keys of other systems. A key is shown once, when it is made; only its hash is kept."""

    list_display = ["name", "role", "prefix", "created_at", "last_used_at", "revoked_at"]
    list_filter = ["role"]
    fields = ["name", "role", "scopes", "prefix", "created_at", "last_used_at", "revoked_at"]
    readonly_fields = ["prefix", "created_at", "last_used_at", "revoked_at"]
    actions = ["revoke"]
    list_per_page = 50

    def save_model(self, request: HttpRequest, obj: ApiClient, form: Any, change: bool) -> None:
        """Make the key of a new client and show it, this once."""
        if not change:
            key = new_key(obj)
            messages.warning(request, f"The key of {obj.name}, shown this once: {key}")
        super().save_model(request, obj, form, change)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Clients are revoked, never deleted: what they did stays theirs."""
        return False

    @admin.action(description="Revoke the keys of the chosen clients", permissions=["change"])
    def revoke(self, request: HttpRequest, queryset: Any) -> None:
        """End the keys at once."""
        ended = queryset.filter(revoked_at__isnull=True).update(revoked_at=timezone.now())
        messages.success(request, f"{ended} keys revoked.")


def new_key(client: ApiClient) -> str:
    """Give `client` a fresh key and return it."""
    client.prefix = secrets.token_hex(4)
    key = f"{client.prefix}.{secrets.token_urlsafe(32)}"
    client.key_hash = hashlib.sha256(key.encode()).hexdigest()
    client.created_at = timezone.now()
    return key


@admin.register(OwnerLink)
class OwnerLinkAdmin(LookOnlyAdmin):
    """Links that were given out; the links themselves are not kept."""

    list_display = ["pk", "purpose", "trike", "owner", "created_at", "expires_at", "revoked_at", "last_used_at"]
    list_filter = ["purpose"]
    list_select_related = ["trike", "owner"]
    exclude = ["token_hash"]


@admin.register(IdempotencyRecord)
class IdempotencyRecordAdmin(LookOnlyAdmin):
    """Answers kept for repeated requests, for a day."""

    list_display = ["actor", "key", "status", "created_at"]
