"""Components over the API: every serial-numbered piece, where it sits and how far it ran."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from services.parts import PART_KINDS
from tracker.actions.components import add_component, change_component
from tracker.http.fields import Body, Choice, Day, Id, Moment, Number, Shown, Text
from tracker.http.filters import IdFilter, SerialFilter
from tracker.http.resource import Resource
from tracker.models import Component
from tracker.queries import lists
from tracker.queries.life import lives_of


class PlaceOut(serializers.Serializer):
    """Where a component sits now."""

    fitment = serializers.IntegerField(source="id")
    trike = serializers.IntegerField(source="trike_id")
    frame_serial = serializers.CharField(source="trike.frame_serial")
    position = serializers.CharField()
    fitted_at = Moment()


class ComponentOut(Shown):
    """A piece. `life_before_km` null means: it had a life before us, nobody knows how long."""

    kind = serializers.CharField(source="part_type.kind", read_only=True)
    part_number = serializers.CharField(source="part_type.part_number", read_only=True)
    place = serializers.SerializerMethodField()

    class Meta:
        model = Component
        fields = [
            "id", "part_type", "kind", "part_number", "serial", "serial_as_typed", "batch", "made_on", "firmware",
            "state", "life_before_km", "note", "place", "version",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(PlaceOut(allow_null=True))
    def get_place(self, row: Component) -> dict | None:
        """Where it sits, or null."""
        return PlaceOut(row.now_fitted[0]).data if row.now_fitted else None


class ComponentChange(Body):
    """What can be changed of a piece; where it sits is changed by fitting and removing."""

    batch = Text(max_length=40, allow_blank=True, required=False)
    made_on = Day(allow_null=True, required=False)
    firmware = Text(max_length=40, allow_blank=True, required=False)
    state = Choice(choices=Component.State.values, required=False)
    note = Text(max_length=500, allow_blank=True, required=False)


class NewComponent(Body):
    """A piece for the stock: a serial or a batch number is needed."""

    part_type = Id()
    serial = Text(max_length=60, required=False)
    batch = Text(max_length=40, allow_blank=True, required=False)
    made_on = Day(allow_null=True, required=False)
    firmware = Text(max_length=40, allow_blank=True, required=False)
    note = Text(max_length=500, allow_blank=True, required=False)
    life_before_km = Number(min_value=0, max_value=1_000_000, allow_null=True, required=False)


class LifeOut(serializers.Serializer):
    """How far a piece ran, over all trikes it sat on. `km` is null when part of its life is unknown."""

    component = serializers.IntegerField()
    at = Moment()
    km = serializers.FloatField(allow_null=True)
    days_fitted = serializers.FloatField()
    is_estimate = serializers.BooleanField()
    is_unknown = serializers.BooleanField()


class ComponentFilter(filters.FilterSet):
    """How the stock can be narrowed."""

    kind = filters.ChoiceFilter(field_name="part_type__kind", choices=[(code, code) for code in sorted(PART_KINDS)])
    part_type = IdFilter(field_name="part_type_id")
    state = filters.ChoiceFilter(choices=Component.State.choices)
    serial = SerialFilter(field_name="serial")
    batch = filters.CharFilter(lookup_expr="iexact")
    trike = IdFilter(method="sits_on", label="Now fitted to this trike.")

    class Meta:
        model = Component
        fields: list[str] = []

    def sits_on(self, rows: QuerySet[Component], name: str, trike_id: int) -> QuerySet[Component]:
        """Pieces that are on a trike now."""
        return rows.filter(fitments__trike_id=trike_id, fitments__removed_at__isnull=True)


class Components(Resource):
    """Every piece with a serial or batch number."""

    resource, output, filterset_class = "components", ComponentOut, ComponentFilter
    orders = ("id", "-id")

    def get_queryset(self) -> QuerySet[Component]:
        """Pieces with part type and place."""
        return lists.components()

    @extend_schema(request=NewComponent, responses={201: ComponentOut})
    def create(self, request: Request) -> HttpResponse:
        """Take a piece into stock."""
        values = self.read(NewComponent)
        part_type_id = values.pop("part_type")
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: add_component(part_type_id=part_type_id, **values, **told))

    @extend_schema(request=ComponentChange, responses=ComponentOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change batch, made-on date, firmware, note or state."""

        def change(row: Component, version: int, changes: dict) -> Component:
            return change_component(component_id=row.pk, version=version, changes=changes, by=self.person, now=self.now)

        return self.change(pk, ComponentChange, change)

    @extend_schema(responses=LifeOut)
    @action(detail=True)
    def life(self, request: Request, pk: str) -> Response:
        """How far the piece ran until now, on whatever trikes it sat."""
        row = self.row(pk)
        life = lives_of([row.pk], self.now)[row.pk]
        facts = {
            "component": row.pk, "at": self.now, "km": None if life.is_unknown else round(float(life.km), 1),
            "days_fitted": round(float(life.days_fitted), 2), "is_estimate": bool(life.is_estimate),
            "is_unknown": bool(life.is_unknown),
        }  # fmt: skip
        return Response(LifeOut(facts).data)
