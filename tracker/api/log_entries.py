"""The logbook over the API: read only, as it is append-only."""

import django_filters as filters
from django.db.models import QuerySet
from rest_framework import serializers

from tracker.http.fields import Shown
from tracker.http.filters import IdFilter, MomentFilter
from tracker.http.resource import Resource
from tracker.models import LogEntry


class LogEntryOut(Shown):
    """One entry, chained by `prev_hash` to the one before on the same trike."""

    body = serializers.DictField(read_only=True)

    class Meta:
        model = LogEntry
        fields = [
            "id", "trike", "component", "seq", "kind", "occurred_at", "recorded_at", "actor", "source", "body",
            "amends", "prev_hash", "hash",
        ]  # fmt: skip
        read_only_fields = fields


class LogEntryFilter(filters.FilterSet):
    """How the logbook can be narrowed."""

    trike = IdFilter(field_name="trike_id")
    component = IdFilter(field_name="component_id")
    kind = filters.CharFilter()
    recorded_after = MomentFilter(field_name="recorded_at", lookup_expr="gte")
    recorded_before = MomentFilter(field_name="recorded_at", lookup_expr="lt")

    class Meta:
        model = LogEntry
        fields: list[str] = []


class LogEntries(Resource):
    """Everything that ever happened, newest first."""

    resource, output, filterset_class = "log-entries", LogEntryOut, LogEntryFilter
    orders = ("-id", "id")

    def get_queryset(self) -> QuerySet[LogEntry]:
        """All entries."""
        return LogEntry.objects.all()
