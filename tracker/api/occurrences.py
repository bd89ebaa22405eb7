"""Occurrences over the API: a crash, a submersion, a long lay-up. Each calls for a check before the next ride."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from tracker.actions.schedule import report_occurrence
from tracker.http.fields import Body, Choice, Id, Moment, Shown, Text
from tracker.http.filters import IdFilter
from tracker.http.resource import Resource
from tracker.models import Occurrence


class OccurrenceOut(Shown):
    """What happened, and when."""

    class Meta:
        model = Occurrence
        fields = ["id", "trike", "kind", "happened_at", "note", "entered_by", "recorded_at"]
        read_only_fields = fields


class NewOccurrence(Body):
    """Something happened to a trike."""

    trike = Id()
    kind = Choice(choices=Occurrence.Kind.values)
    happened_at = Moment()
    note = Text(max_length=400, allow_blank=True, default="")


class OccurrenceFilter(filters.FilterSet):
    """How occurrences can be narrowed."""

    trike = IdFilter(field_name="trike_id")
    kind = filters.ChoiceFilter(choices=Occurrence.Kind.choices)

    class Meta:
        model = Occurrence
        fields: list[str] = []


class Occurrences(Resource):
    """What happened to trikes."""

    resource, output, filterset_class = "occurrences", OccurrenceOut, OccurrenceFilter
    orders = ("-happened_at", "happened_at", "id", "-id")

    def get_queryset(self) -> QuerySet[Occurrence]:
        """All occurrences."""
        return Occurrence.objects.all()

    @extend_schema(request=NewOccurrence, responses={201: OccurrenceOut})
    def create(self, request: Request) -> HttpResponse:
        """Record what happened: its check is due before the next ride."""
        values = self.read(NewOccurrence)
        trike_id = values.pop("trike")
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: report_occurrence(trike_id=trike_id, **values, **told))
