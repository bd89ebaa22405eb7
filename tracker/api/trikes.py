"""Trikes over the API, and what belongs to one: components by position, readings, due lines, logbook, job cards."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from services.positions import POSITIONS
from tracker.actions.trikes import change_trike, register_trike
from tracker.api.due_lines import UNIT, DueLineOut, due_context
from tracker.api.job_cards import JobCardOut
from tracker.api.labels import Labels
from tracker.api.log_entries import LogEntryOut
from tracker.api.papers import TrikePapers
from tracker.api.passing import Passing
from tracker.api.readings import ReadingOut
from tracker.api.trike_shown import TrikeOut
from tracker.http.fields import Body, Id, Moment, Number, Text
from tracker.http.filters import IdFilter, SerialFilter
from tracker.http.resource import Resource
from tracker.models import DueLine, Fitment, LogEntry, Trike
from tracker.queries import cards, lists
from tracker.queries.life import distances_now, lives_of


class NewTrike(Body):
    """A trike's record begins with its frame, a component from stock."""

    frame = Id()
    plate = Text(max_length=60, allow_blank=True, default="")
    model = Text(max_length=80, allow_blank=True, default="")


class TrikeChange(Body):
    """What can be changed of a machine. `severity`: 1 dry tarmac to 0.25; it shortens what counts by distance."""

    severity = Number(min_value=0.25, max_value=1, required=False)
    plate = Text(max_length=60, allow_blank=True, allow_null=True, required=False)
    model = Text(max_length=80, allow_blank=True, required=False)


class FittedOut(serializers.Serializer):
    """A component in its position. `life_km` null: part of its life is unknown."""

    position = serializers.CharField()
    title = serializers.CharField()
    fitment = serializers.IntegerField()
    component = serializers.IntegerField()
    serial = serializers.CharField(allow_null=True)
    part_number = serializers.CharField()
    fitted_at = Moment()
    life_km = serializers.FloatField(allow_null=True)
    life_is_estimate = serializers.BooleanField()


class DistanceOut(serializers.Serializer):
    """Where a trike stands: past its last reading as likely more as less, with what it hardly exceeds (90 %).

    `display_km`: what its display should show.
    """

    trike = serializers.IntegerField()
    at = Moment()
    life_km = serializers.FloatField()
    at_most_km = serializers.FloatField()
    display_km = serializers.FloatField()
    is_estimate = serializers.BooleanField()
    last_read_on = serializers.DateField(allow_null=True)
    last_display_km = serializers.FloatField(allow_null=True)
    rate_km_per_day = serializers.FloatField()
    rate_basis = serializers.CharField()


class TrikeFilter(filters.FilterSet):
    """How trikes can be found."""

    state = filters.ChoiceFilter(choices=Trike.State.choices)
    frame_serial = SerialFilter(field_name="frame_serial")
    plate = SerialFilter(field_name="plate")
    model = filters.CharFilter(lookup_expr="iexact")
    owner = IdFilter(method="owned_by", label="Owned by this owner now.")

    class Meta:
        model = Trike
        fields: list[str] = []

    def owned_by(self, rows: QuerySet[Trike], name: str, owner_id: int) -> QuerySet[Trike]:
        """Trikes of a present owner."""
        return rows.filter(ownerships__owner_id=owner_id, ownerships__until__isnull=True)


class Trikes(TrikePapers, Labels, Passing, Resource):
    """The machines."""

    resource, output, filterset_class = "trikes", TrikeOut, TrikeFilter
    orders = ("frame_serial", "-frame_serial", "id", "-id")
    pages = frozenset({"list", "readings", "due_lines", "logbook", "job_cards"})

    def get_queryset(self) -> QuerySet[Trike]:
        """Trikes with their present owner."""
        return Trike.objects.prefetch_related(lists.present_owner())

    @extend_schema(request=NewTrike, responses={201: TrikeOut})
    def create(self, request: Request) -> HttpResponse:
        """Begin a trike's record with its frame."""
        values = self.read(NewTrike)
        frame_id = values.pop("frame")
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: register_trike(frame_component_id=frame_id, **values, **told))

    @extend_schema(request=TrikeChange, responses=TrikeOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change severity, plate or model; its due lines follow at once. Out of service: `retire`."""
        told = {"by": self.person, "now": self.now, "source": self.source}

        def change(row: Trike, version: int, changes: dict) -> Trike:
            return change_trike(trike_id=row.pk, version=version, changes=changes, **told)

        return self.change(pk, TrikeChange, change)

    @extend_schema(responses=DistanceOut)
    @action(detail=True)
    def distance(self, request: Request, pk: str) -> Response:
        """How far the trike ran until now, and how fast it runs."""
        row = self.row(pk)
        here = distances_now([row.pk], self.now)[row.pk]
        facts = {
            "trike": row.pk, "at": self.now, "life_km": round(here.km, 1), "at_most_km": round(here.at_most_km, 1),
            "display_km": round(here.display_km, 1), "is_estimate": here.is_estimate,
            "last_read_on": here.last_read_on, "last_display_km": here.last_display_km,
            "rate_km_per_day": round(here.rate.km_per_day, 3), "rate_basis": "own" if here.rate.stretches else "typical",
        }  # fmt: skip
        return Response(DistanceOut(facts).data)

    @extend_schema(responses=FittedOut(many=True))
    @action(detail=True, pagination_class=None, filterset_class=None)
    def components(self, request: Request, pk: str) -> Response:
        """What sits where now, in the order of the positions, each with its life. One answer, no pages."""
        row = self.row(pk)
        fitted = list(Fitment.objects.current().filter(trike=row).select_related("component__part_type"))
        lives = lives_of([fitment.component_id for fitment in fitted], self.now)
        order = list(POSITIONS)
        fitted.sort(key=lambda fitment: order.index(fitment.position))
        return Response(FittedOut([_fitted(f, lives[f.component_id]) for f in fitted], many=True).data)

    @extend_schema(responses=ReadingOut(many=True))
    @action(detail=True, filterset_class=None, orders=("-read_at", "read_at"))
    def readings(self, request: Request, pk: str) -> Response:
        """Its odometer readings, newest first."""
        return self.page(lists.readings().filter(trike=self.row(pk)), ReadingOut)

    @extend_schema(responses=DueLineOut(many=True), parameters=[UNIT])
    @action(
        detail=True,
        url_path="due-lines",
        filterset_class=None,
        orders=("due_on", "-due_on"),
        extra_parameters=("unit",),
    )
    def due_lines(self, request: Request, pk: str) -> Response:
        """What falls due on it, soonest first, each with its reason."""
        lines = DueLine.objects.filter(trike=self.row(pk), due_on__isnull=False).select_related("trike", "component")
        return self.page(lines, DueLineOut)

    @extend_schema(responses=LogEntryOut(many=True))
    @action(detail=True, filterset_class=None, orders=("-seq", "seq"))
    def logbook(self, request: Request, pk: str) -> Response:
        """Everything that ever happened to it, newest first."""
        return self.page(LogEntry.objects.filter(trike=self.row(pk)), LogEntryOut)

    @extend_schema(responses=JobCardOut(many=True))
    @action(detail=True, url_path="job-cards", filterset_class=None, orders=("-opened_at", "opened_at"))
    def job_cards(self, request: Request, pk: str) -> Response:
        """Its job cards, newest first."""
        return self.page(cards.whole_cards().filter(trike=self.row(pk)), JobCardOut)

    def get_serializer_context(self) -> dict:
        """Due lines need today and the unit asked for."""
        return super().get_serializer_context() | due_context(self)


def _fitted(fitment: Fitment, life) -> dict:
    component = fitment.component
    return {
        "position": fitment.position, "title": POSITIONS[fitment.position].title, "fitment": fitment.pk,
        "component": component.pk, "serial": component.serial, "part_number": component.part_type.part_number,
        "fitted_at": fitment.fitted_at, "life_km": None if life.is_unknown else round(float(life.km), 1),
        "life_is_estimate": bool(life.is_estimate),
    }  # fmt: skip
