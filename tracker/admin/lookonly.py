"""Screens to look at: whatever has an action is changed through it, on the desk's pages or the API."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest


class LookOnlyAdmin(admin.ModelAdmin):
    """Shows everything, changes nothing."""

    list_per_page = 50
    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Nothing is added here."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is changed here."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is deleted here."""
        return False


class LookOnlyInline(admin.TabularInline):
    """Rows that hang on a record, to look at."""

    extra = 0
    max_num = 0
    can_delete = False
    show_change_link = True

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is added here."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is changed here."""
        return False
