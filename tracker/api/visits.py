"""Visits over the API: the due tasks of a trike, bundled so that the owner comes once."""

import django_filters as filters
from django.db.models import QuerySet

from tracker.http.fields import Shown
from tracker.http.filters import DayFilter, IdFilter
from tracker.http.resource import Resource
from tracker.models import Visit, VisitLine


class VisitLineOut(Shown):
    """One task of a visit, with why it is done then."""

    class Meta:
        model = VisitLine
        fields = ["component", "task", "due_on", "reason"]
        read_only_fields = fields


class VisitOut(Shown):
    """A visit the workshop proposes, with the words that say why that day and these tasks."""

    lines = VisitLineOut(many=True, read_only=True)

    class Meta:
        model = Visit
        fields = [
            "id", "trike", "uid", "state", "planned_on", "minutes", "words", "sequence", "lines", "opened_at", "closed_at",
        ]  # fmt: skip
        read_only_fields = fields


class VisitFilter(filters.FilterSet):
    """How visits can be narrowed."""

    trike = IdFilter(field_name="trike_id")
    state = filters.ChoiceFilter(choices=Visit.State.choices)
    planned_before = DayFilter(field_name="planned_on", lookup_expr="lt")
    planned_from = DayFilter(field_name="planned_on", lookup_expr="gte")

    class Meta:
        model = Visit
        fields: list[str] = []


class Visits(Resource):
    """Visits, soonest first. The nightly sweep plans them."""

    resource, output, filterset_class = "visits", VisitOut, VisitFilter
    orders = ("planned_on", "-planned_on", "id", "-id")

    def get_queryset(self) -> QuerySet[Visit]:
        """Visits with their tasks."""
        return Visit.objects.prefetch_related("lines")
