"""Display changes over the API: a display swapped or reset."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from tracker.actions.usage import record_display_change
from tracker.http.fields import Body, Id, Moment, Number, Shown, Text
from tracker.http.filters import IdFilter
from tracker.http.resource import Resource
from tracker.models import DisplayChange


class DisplayChangeOut(Shown):
    """The old display's last value (null: nobody knows) and the value the new one began with."""

    class Meta:
        model = DisplayChange
        fields = ["id", "trike", "changed_at", "old_final_km", "new_start_km", "reason", "entered_by", "recorded_at"]
        read_only_fields = fields


class NewDisplayChange(Body):
    """A display was swapped or reset."""

    trike = Id()
    changed_at = Moment()
    old_final_km = Number(min_value=0, max_value=1_000_000, allow_null=True)
    new_start_km = Number(min_value=0, max_value=1_000_000, default=0.0)
    reason = Text(max_length=200, allow_blank=True, default="")


class DisplayChangeFilter(filters.FilterSet):
    """How display changes can be narrowed."""

    trike = IdFilter(field_name="trike_id")

    class Meta:
        model = DisplayChange
        fields: list[str] = []


class DisplayChanges(Resource):
    """Displays swapped or reset."""

    resource, output, filterset_class = "display-changes", DisplayChangeOut, DisplayChangeFilter
    orders = ("-changed_at", "changed_at", "id", "-id")

    def get_queryset(self) -> QuerySet[DisplayChange]:
        """All changes."""
        return DisplayChange.objects.all()

    @extend_schema(request=NewDisplayChange, responses={201: DisplayChangeOut})
    def create(self, request: Request) -> HttpResponse:
        """Record that the display was swapped or reset."""
        values = self.read(NewDisplayChange)
        trike_id = values.pop("trike")
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: record_display_change(trike_id=trike_id, **values, **told))
