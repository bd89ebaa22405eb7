"""Meters, schedule, messages, imports and the logbook, to look at."""

from django.contrib import admin

from tracker.admin.lookonly import LookOnlyAdmin, LookOnlyInline
from tracker.models import (
    Completion,
    DisplayChange,
    DueLine,
    FleetNumbers,
    ImportBatch,
    LogEntry,
    MeterReading,
    Occurrence,
    OdometerReading,
    OutboxMessage,
    ReviewFinding,
    ReviewRun,
    RideFile,
    ServiceInterval,
    SweepRun,
    Visit,
    VisitLine,
)


@admin.register(OdometerReading)
class OdometerReadingAdmin(LookOnlyAdmin):
    """Readings as typed, with their verdict."""

    list_display = ["trike", "read_at", "value", "unit", "km", "verdict", "source", "entered_by"]
    list_filter = ["verdict", "source", "unit"]
    list_select_related = ["trike", "entered_by"]
    search_fields = ["trike__frame_serial"]
    date_hierarchy = "read_at"


@admin.register(RideFile)
class RideFileAdmin(LookOnlyAdmin):
    """Rides that came as files."""

    list_display = ["trike", "started_at", "km", "reading", "added_at"]
    list_select_related = ["trike", "reading"]
    search_fields = ["trike__frame_serial"]
    date_hierarchy = "started_at"


@admin.register(DisplayChange)
class DisplayChangeAdmin(LookOnlyAdmin):
    """Displays swapped or reset."""

    list_display = ["trike", "changed_at", "old_final_km", "new_start_km", "reason"]
    list_select_related = ["trike"]
    search_fields = ["trike__frame_serial"]


@admin.register(MeterReading)
class MeterReadingAdmin(LookOnlyAdmin):
    """Motor hours and charge cycles."""

    list_display = ["component", "meter", "value", "read_at", "source"]
    list_filter = ["meter", "source"]
    list_select_related = ["component"]
    search_fields = ["component__serial"]


@admin.register(ServiceInterval)
class ServiceIntervalAdmin(LookOnlyAdmin):
    """Intervals. Changed on the desk's pages: the trikes they touch are marked there."""

    list_display = [
        "task", "part_kind", "part_type", "first_km", "first_days", "every_km", "every_months", "every_hours",
        "every_cycles",
    ]  # fmt: skip
    list_filter = ["part_kind"]
    list_select_related = ["part_type"]
    search_fields = ["task"]


@admin.register(Completion)
class CompletionAdmin(LookOnlyAdmin):
    """Tasks done. Append-only."""

    list_display = ["component", "task", "done_at", "via", "trike", "job_card", "source"]
    list_filter = ["task", "source"]
    list_select_related = ["component", "trike", "job_card"]
    search_fields = ["component__serial", "trike__frame_serial"]


@admin.register(Occurrence)
class OccurrenceAdmin(LookOnlyAdmin):
    """Crashes, submersions, lay-ups."""

    list_display = ["trike", "kind", "happened_at", "entered_by"]
    list_filter = ["kind"]
    list_select_related = ["trike", "entered_by"]
    search_fields = ["trike__frame_serial"]


@admin.register(DueLine)
class DueLineAdmin(LookOnlyAdmin):
    """The stored due list."""

    list_display = [
        "trike",
        "component",
        "task",
        "due_on",
        "likely_from",
        "likely_until",
        "trigger",
        "safety",
        "owner_can",
    ]
    list_filter = ["task", "safety", "owner_can", "trigger"]
    list_select_related = ["trike", "component"]
    search_fields = ["trike__frame_serial", "component__serial"]
    date_hierarchy = "due_on"


@admin.register(FleetNumbers)
class FleetNumbersAdmin(LookOnlyAdmin):
    """What the fleet taught, each time it was asked."""

    list_display = ["learned_at", "machines", "stretches"]


@admin.register(SweepRun)
class SweepRunAdmin(LookOnlyAdmin):
    """Nightly sweeps."""

    list_display = [
        "started_at", "finished_at", "trikes_done", "trikes_total", "visits_planned", "messages_written", "differences",
    ]  # fmt: skip


class VisitLineInline(LookOnlyInline):
    """Tasks of a visit."""

    model = VisitLine

    def get_queryset(self, request):
        """With the components at hand."""
        return super().get_queryset(request).select_related("component", "visit__trike")


@admin.register(Visit)
class VisitAdmin(LookOnlyAdmin):
    """Visits the workshop proposed."""

    list_display = ["trike", "planned_on", "state", "minutes", "words", "sequence"]
    list_filter = ["state"]
    list_select_related = ["trike"]
    search_fields = ["trike__frame_serial"]
    inlines = [VisitLineInline]


@admin.register(OutboxMessage)
class OutboxMessageAdmin(LookOnlyAdmin):
    """Messages. Failed and unknown ones are decided on the desk's pages."""

    list_display = ["key", "kind", "stage", "state", "trike", "owner", "attempts", "not_before", "sent_at"]
    list_filter = ["state", "kind", "stage"]
    list_select_related = ["trike", "owner"]
    search_fields = ["key", "trike__frame_serial", "owner__search_name"]


@admin.register(ImportBatch)
class ImportBatchAdmin(LookOnlyAdmin):
    """Uploaded files, without their content."""

    list_display = ["file_name", "kind", "state", "rows_total", "rows_bad", "rows_done", "uploaded_by", "uploaded_at"]
    list_filter = ["kind", "state"]
    list_select_related = ["uploaded_by"]
    exclude = ["content"]

    def get_queryset(self, request):
        """Without the bytes of the files."""
        return super().get_queryset(request).defer("content")


@admin.register(LogEntry)
class LogEntryAdmin(LookOnlyAdmin):
    """The logbook. Append-only and chained."""

    list_display = ["trike", "seq", "kind", "component", "occurred_at", "recorded_at", "actor", "source"]
    list_filter = ["kind", "source"]
    list_select_related = ["trike", "component", "actor"]
    search_fields = ["trike__frame_serial", "component__serial"]
    date_hierarchy = "recorded_at"


@admin.register(ReviewRun)
class ReviewRunAdmin(LookOnlyAdmin):
    """Failure reviews, newest first."""

    list_display = ["asked_at", "state", "asked_by", "until", "part_types", "reckoned", "comparisons", "finished_at"]
    list_filter = ["state"]
    list_select_related = ["asked_by"]


@admin.register(ReviewFinding)
class ReviewFindingAdmin(LookOnlyAdmin):
    """What the newest review found."""

    list_display = ["part_type", "metric", "is_main", "rank", "action", "q", "flagged_since"]
    list_filter = ["action", "metric", "is_main"]
    list_select_related = ["part_type"]
