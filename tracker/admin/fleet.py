"""The register, to look at."""

from django.contrib import admin

from tracker.admin.lookonly import LookOnlyAdmin, LookOnlyInline
from tracker.models import Component, Fitment, Handover, HandoverCheck, Owner, Ownership, PartType, Trike


class FitmentInline(LookOnlyInline):
    """What sits or sat where."""

    model = Fitment
    fields = ["position", "component", "trike", "fitted_at", "removed_at", "fate"]
    ordering = ["removed_at", "position"]

    def get_queryset(self, request):
        """With both ends at hand."""
        return super().get_queryset(request).select_related("component", "trike")


class OwnershipInline(LookOnlyInline):
    """Who owned it from when to when."""

    model = Ownership

    def get_queryset(self, request):
        """With both ends at hand."""
        return super().get_queryset(request).select_related("owner", "trike")


class CheckInline(LookOnlyInline):
    """The final check."""

    model = HandoverCheck


@admin.register(PartType)
class PartTypeAdmin(LookOnlyAdmin):
    """The catalogue. Changed on the desk's pages: every rated value is checked there."""

    list_display = ["part_number", "kind", "name", "maker"]
    list_filter = ["kind"]
    search_fields = ["part_number", "name", "maker"]


@admin.register(Component)
class ComponentAdmin(LookOnlyAdmin):
    """Every piece."""

    list_display = ["__str__", "part_type", "batch", "state", "made_on"]
    list_filter = ["state", "part_type__kind"]
    list_select_related = ["part_type"]
    search_fields = ["serial", "batch"]
    inlines = [FitmentInline]


@admin.register(Owner)
class OwnerAdmin(LookOnlyAdmin):
    """Owners."""

    list_display = ["name", "email", "phone", "time_zone", "reminders_agreed", "stopped_at"]
    list_filter = [
        "reminders_agreed",
        ("stopped_at", admin.EmptyFieldListFilter),
        ("email_dead_at", admin.EmptyFieldListFilter),
    ]
    search_fields = ["search_name", "email", "phone_e164"]
    inlines = [OwnershipInline]


@admin.register(Trike)
class TrikeAdmin(LookOnlyAdmin):
    """Trikes."""

    list_display = ["frame_serial", "plate", "model", "state", "delivered_on", "severity", "due_dirty"]
    list_filter = ["state", "model", "due_dirty"]
    search_fields = ["frame_serial", "plate"]
    date_hierarchy = "delivered_on"
    inlines = [OwnershipInline, FitmentInline]


@admin.register(Handover)
class HandoverAdmin(LookOnlyAdmin):
    """As-built records with their signatures."""

    list_display = ["trike", "handed_over_on", "built_by", "second_by", "second_signed_at"]
    list_select_related = ["trike", "built_by", "second_by"]
    inlines = [CheckInline]


@admin.register(Fitment)
class FitmentAdmin(LookOnlyAdmin):
    """What sat where and when."""

    list_display = ["component", "position", "trike", "fitted_at", "removed_at", "fate"]
    list_filter = ["position", ("removed_at", admin.EmptyFieldListFilter)]
    list_select_related = ["component", "trike"]
    search_fields = ["component__serial", "trike__frame_serial"]
