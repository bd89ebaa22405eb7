"""Meter readings over the API: motor hours and charge cycles of one component."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from tracker.actions.usage import record_meter
from tracker.http.fields import Body, Choice, Id, Moment, Number, Shown
from tracker.http.filters import IdFilter
from tracker.http.resource import Resource
from tracker.models import MeterReading


class MeterReadingOut(Shown):
    """`value` is in hours for `motor_hours`, in full cycles for `charge_cycles`."""

    class Meta:
        model = MeterReading
        fields = ["id", "component", "meter", "value", "read_at", "source", "entered_by", "recorded_at"]
        read_only_fields = fields


class NewMeterReading(Body):
    """What a component's meter shows."""

    component = Id()
    meter = Choice(choices=MeterReading.Meter.values)
    value = Number(min_value=0, max_value=100_000)
    read_at = Moment()


class MeterReadingFilter(filters.FilterSet):
    """How meter readings can be narrowed."""

    component = IdFilter(field_name="component_id")
    meter = filters.ChoiceFilter(choices=MeterReading.Meter.choices)

    class Meta:
        model = MeterReading
        fields: list[str] = []


class MeterReadings(Resource):
    """Motor hours and charge cycles."""

    resource, output, filterset_class = "meter-readings", MeterReadingOut, MeterReadingFilter
    orders = ("-read_at", "read_at", "id", "-id")

    def get_queryset(self) -> QuerySet[MeterReading]:
        """All meter readings."""
        return MeterReading.objects.all()

    @extend_schema(request=NewMeterReading, responses={201: MeterReadingOut})
    def create(self, request: Request) -> HttpResponse:
        """Record motor hours or charge cycles."""
        values = self.read(NewMeterReading)
        component_id = values.pop("component")
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: record_meter(component_id=component_id, **values, **told))
