"""Service intervals over the API: the rules that say when a task falls due."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from services.kinds import all_tasks
from services.parts import PART_KINDS
from tracker.actions.schedule import set_interval
from tracker.http.fields import Body, Choice, Id, Number, Shown, Text, Whole, YesNo
from tracker.http.filters import IdFilter
from tracker.http.resource import Resource
from tracker.models import ServiceInterval

KM = {"min_value": 0, "max_value": 1_000_000, "allow_null": True, "required": False}
WHOLE = {"min_value": 0, "max_value": 100_000, "allow_null": True, "required": False}


class IntervalOut(Shown):
    """When one task falls due, for a kind of part or (then it wins) for one part type."""

    class Meta:
        model = ServiceInterval
        fields = [
            "id", "task", "part_kind", "part_type", "first_km", "first_days", "first_hours", "first_cycles",
            "every_km", "every_months", "every_days", "every_hours", "every_cycles", "early_km", "early_days",
            "rebase", "once", "source", "version",
        ]  # fmt: skip
        read_only_fields = fields


class IntervalChange(Body):
    """The numbers of a rule."""

    first_km = Number(**KM)
    first_days = Whole(**WHOLE)
    first_hours = Number(**KM)
    first_cycles = Number(**KM)
    every_km = Number(**KM)
    every_months = Whole(**WHOLE)
    every_days = Whole(**WHOLE)
    every_hours = Number(**KM)
    every_cycles = Number(**KM)
    early_km = Number(min_value=0, max_value=1_000_000, required=False)
    early_days = Whole(min_value=0, max_value=10_000, required=False)
    rebase = Choice(choices=ServiceInterval.Rebase.values, required=False)
    once = YesNo(required=False)
    source = Text(max_length=200, allow_blank=True, required=False)


class NewInterval(IntervalChange):
    """A rule for a task."""

    task = Choice(choices=sorted(task.code for task in all_tasks()))
    part_kind = Choice(choices=sorted(PART_KINDS))
    part_type = Id(allow_null=True, required=False)


class IntervalFilter(filters.FilterSet):
    """How the rules can be narrowed."""

    task = filters.CharFilter()
    part_kind = filters.ChoiceFilter(choices=[(code, code) for code in sorted(PART_KINDS)])
    part_type = IdFilter(field_name="part_type_id")

    class Meta:
        model = ServiceInterval
        fields: list[str] = []


class Intervals(Resource):
    """The rules."""

    resource, output, filterset_class = "intervals", IntervalOut, IntervalFilter
    orders = ("task", "-task", "id", "-id")

    def get_queryset(self) -> QuerySet[ServiceInterval]:
        """All rules."""
        return ServiceInterval.objects.all()

    @extend_schema(request=NewInterval, responses={201: IntervalOut})
    def create(self, request: Request) -> HttpResponse:
        """Add a rule."""
        values = self.read(NewInterval)
        values["part_type_id"] = values.pop("part_type", None)
        return self.create_once(lambda: set_interval(values=values, by=self.person, now=self.now))

    @extend_schema(request=IntervalChange, responses=IntervalOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change a rule; the due lines it touches follow with the next sweep."""

        def change(row: ServiceInterval, version: int, changes: dict) -> ServiceInterval:
            return set_interval(interval_id=row.pk, version=version, values=changes, by=self.person, now=self.now)

        return self.change(pk, IntervalChange, change)
