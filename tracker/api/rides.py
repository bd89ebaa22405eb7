"""Rides that came as files, over the API: counted as what the odometer should show by then."""

from hashlib import sha256
from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request

from tracker.actions.rides import take_ride
from tracker.http.fields import Body, Id, Shown
from tracker.http.filters import IdFilter
from tracker.http.parsing import RideParser
from tracker.http.resource import Resource
from tracker.models import RideFile
from tracker.queries import rides as queries
from tracker.queries.clock import local_date
from tracker.rides.child import read_ride


class RideOut(Shown):
    """A ride: its day, how far and how long. Where it went is not kept. `shows_km` is what the odometer should show then."""

    frame_serial = serializers.CharField(source="trike.frame_serial", read_only=True)
    day = serializers.SerializerMethodField()
    minutes = serializers.SerializerMethodField()
    shows_km = serializers.FloatField(source="reading.km", read_only=True)

    class Meta:
        model = RideFile
        fields = ["id", "trike", "frame_serial", "day", "km", "minutes", "reading", "shows_km", "added_at"]
        read_only_fields = fields

    def get_day(self, row: RideFile) -> str:
        """The day it began, on the workshop's calendar."""
        return local_date(row.started_at).isoformat()

    def get_minutes(self, row: RideFile) -> int:
        """Minutes from its start to its end, pauses included."""
        return round((row.ended_at - row.started_at).total_seconds() / 60)


class FormId(Id):
    """The id of another thing in a form, where everything is text."""

    def to_internal_value(self, data: Any) -> int:
        """Return the number; anything but plain digits is refused."""
        digits = isinstance(data, str) and data.isascii() and data.isdigit() and len(data) <= 19
        return super().to_internal_value(int(data) if digits else data)


class NewRide(Body):
    """A GPX or FIT file of one ride, of at most 8 MB."""

    trike = FormId()
    file = serializers.FileField(max_length=200, allow_empty_file=True)


class RideFilter(filters.FilterSet):
    """How rides can be narrowed."""

    trike = IdFilter(field_name="trike_id")

    class Meta:
        model = RideFile
        fields: list[str] = []


class Rides(Resource):
    """Rides that came as files."""

    resource, output, filterset_class = "rides", RideOut, RideFilter
    orders = ("-started_at", "started_at", "id", "-id")

    def get_parsers(self) -> list[BaseParser]:
        """New rides come as files."""
        method = self.request.method.lower() if self.request else ""
        step = getattr(self, "action_map", {}).get(method) or getattr(self, "action", "")
        return [RideParser()] if step == "create" else super().get_parsers()

    def get_queryset(self) -> QuerySet[RideFile]:
        """Rides with their trike and reading."""
        return queries.rides()

    @extend_schema(request={"multipart/form-data": NewRide}, responses={201: RideOut})
    def create(self, request: Request) -> HttpResponse:
        """Count a ride file. It is read at once and not kept; the same ride is counted once, from whatever file."""
        values = self.read(NewRide)
        content = values["file"].read()
        # read before the key is claimed: a long file must not hold the database
        ride, digest = read_ride(content), sha256(content).hexdigest()
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: take_ride(trike_id=values["trike"], ride=ride, sha256=digest, **told))
