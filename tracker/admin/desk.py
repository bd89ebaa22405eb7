"""Job cards and what hangs on them, to look at."""

from django.contrib import admin

from tracker.admin.lookonly import LookOnlyAdmin, LookOnlyInline
from tracker.models import Failure, JobCard, JobTask, Measurement, Swap


class CardInline(LookOnlyInline):
    """Rows of a card, with the components they name."""

    def get_queryset(self, request):
        """With the components at hand."""
        return super().get_queryset(request).select_related(*self.named)


class TaskInline(CardInline):
    """Tasks."""

    model = JobTask
    named = ["component", "card"]


class MeasurementInline(CardInline):
    """Measurements."""

    model = Measurement
    named = ["component", "card"]


class SwapInline(CardInline):
    """Swaps."""

    model = Swap
    named = ["old_component", "new_component", "card"]


class FailureInline(CardInline):
    """Failures."""

    model = Failure
    named = ["component", "trike", "card"]


@admin.register(JobCard)
class JobCardAdmin(LookOnlyAdmin):
    """Job cards."""

    list_display = ["number", "trike", "state", "opened_at", "opened_by", "signed_by", "signed_at"]
    list_filter = ["state"]
    list_select_related = ["trike", "opened_by", "signed_by"]
    search_fields = ["number", "trike__frame_serial"]
    date_hierarchy = "opened_at"
    inlines = [TaskInline, MeasurementInline, SwapInline, FailureInline]


@admin.register(Failure)
class FailureAdmin(LookOnlyAdmin):
    """Failures over the whole fleet."""

    list_display = ["component", "trike", "mode", "cause", "found", "warranty", "happened_at"]
    list_filter = ["mode", "warranty", "component__part_type__kind"]
    list_select_related = ["component", "trike"]
    search_fields = ["component__serial", "trike__frame_serial"]


@admin.register(Measurement)
class MeasurementAdmin(LookOnlyAdmin):
    """Measurements over the whole fleet."""

    list_display = ["component", "quantity", "value", "level", "words", "taken_at", "card"]
    list_filter = ["quantity", "level"]
    list_select_related = ["component", "card"]
    search_fields = ["component__serial"]
