"""The due list over the API: each line with its status today and the sentence that says why."""

from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from tracker.http.fields import Shown
from tracker.http.filters import DayFilter, IdFilter, YesNoFilter
from tracker.http.problems import Problem
from tracker.http.resource import Resource
from tracker.models import DueLine
from tracker.queries.clock import local_date
from tracker.queries.due import describe, due_list, status_of, title_of, why_of

UNITS = ("km", "mi")
UNIT = OpenApiParameter("unit", enum=list(UNITS), default="km", description="Unit of distances in `reason`.")


class DueLineOut(Shown):
    """One task of one component: when it falls due, how it stands today, and why.

    `due_on` is as likely too early as too late; one in ten falls due before `likely_from`, one in ten after `likely_until`
    (null: later than can be told).
    """

    title = serializers.SerializerMethodField()
    status = serializers.SerializerMethodField(help_text="ok, soon, due or overdue: a comparison with today.")
    reason = serializers.SerializerMethodField()
    why = serializers.SerializerMethodField(help_text="The numbers behind the forecast; empty where it rests on none.")
    frame_serial = serializers.CharField(source="trike.frame_serial", read_only=True)
    serial = serializers.CharField(source="component.serial", allow_null=True, read_only=True)

    class Meta:
        model = DueLine
        fields = [
            "id", "trike", "frame_serial", "component", "serial", "task", "title", "due_on", "likely_from", "likely_until",
            "early_on", "status", "trigger", "due_life_km", "safety", "owner_can", "reason", "why", "refreshed_at",
        ]  # fmt: skip
        read_only_fields = fields

    def get_title(self, row: DueLine) -> str:
        """The task in the trade's words."""
        return title_of(row.task)

    def get_status(self, row: DueLine) -> str:
        """ok, soon, due or overdue."""
        return status_of(row, self.context["today"])

    def get_reason(self, row: DueLine) -> str:
        """One sentence with its numbers."""
        return describe(row, self.context["today"], self.context["unit"])

    def get_why(self, row: DueLine) -> str:
        """The numbers behind the date."""
        return why_of(row, self.context["unit"])


class DueLineFilter(filters.FilterSet):
    """How the due list can be narrowed."""

    due_before = DayFilter(field_name="due_on", lookup_expr="lt")
    due_from = DayFilter(field_name="due_on", lookup_expr="gte")
    task = filters.CharFilter()
    trike = IdFilter(field_name="trike_id")
    component = IdFilter(field_name="component_id")
    safety = YesNoFilter()
    owner_can = YesNoFilter()

    class Meta:
        model = DueLine
        fields: list[str] = []


def due_context(view: Resource) -> dict[str, Any]:
    """Return what due lines are told with: today in the workshop, and the unit asked for. Raises Problem bad-query."""
    unit = view.request.query_params.get("unit", "km") if isinstance(view.request, Request) else "km"
    if unit not in UNITS:
        raise Problem("bad-query", "unit is km or mi.")
    return {"today": local_date(view.now), "unit": unit}


class DueLines(Resource):
    """What falls due, over all delivered trikes, soonest first."""

    resource, output, filterset_class = "due-lines", DueLineOut, DueLineFilter
    orders = ("due_on", "-due_on")
    extra_parameters = ("unit",)

    def get_queryset(self) -> QuerySet[DueLine]:
        """Lines with a date, of delivered trikes."""
        return due_list(with_owner_tasks=True)

    @extend_schema(parameters=[UNIT])
    def list(self, request: Request) -> Response:
        """The due list, soonest first."""
        return super().list(request)

    @extend_schema(parameters=[UNIT])
    def retrieve(self, request: Request, pk: str) -> Response:
        """One line."""
        return super().retrieve(request, pk)

    def get_serializer_context(self) -> dict[str, Any]:
        """Today and the unit."""
        return super().get_serializer_context() | due_context(self)
