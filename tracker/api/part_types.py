"""Part types over the API: the catalogue."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from services.parts import PART_KINDS
from tracker.actions.part_types import add_part_type, change_part_type
from tracker.http.fields import Body, Choice, Shown, Text
from tracker.http.resource import Resource
from tracker.models import PartType


class PartTypeOut(Shown):
    """A catalogue entry. `rated` holds the values rated for its kind, units in their names."""

    rated = serializers.DictField()

    class Meta:
        model = PartType
        fields = ["id", "kind", "part_number", "maker", "name", "rated", "version"]
        read_only_fields = fields


class PartTypeChange(Body):
    """What can be changed of a catalogue entry."""

    name = Text(max_length=120)
    maker = Text(max_length=80, allow_blank=True, required=False)
    rated = serializers.DictField(required=False)


class NewPartType(PartTypeChange):
    """A new catalogue entry."""

    kind = Choice(choices=sorted(PART_KINDS))
    part_number = Text(max_length=60)


class PartTypeFilter(filters.FilterSet):
    """How the catalogue can be narrowed."""

    kind = filters.ChoiceFilter(choices=[(code, code) for code in sorted(PART_KINDS)])
    part_number = filters.CharFilter(lookup_expr="iexact")
    maker = filters.CharFilter(lookup_expr="iexact")

    class Meta:
        model = PartType
        fields: list[str] = []


class PartTypes(Resource):
    """The catalogue."""

    resource, output, filterset_class = "part-types", PartTypeOut, PartTypeFilter
    orders = ("part_number", "-part_number", "id", "-id")

    def get_queryset(self) -> QuerySet[PartType]:
        """All entries."""
        return PartType.objects.all()

    @extend_schema(request=NewPartType, responses={201: PartTypeOut})
    def create(self, request: Request) -> HttpResponse:
        """Add a catalogue entry."""
        values = self.read(NewPartType)
        return self.create_once(lambda: add_part_type(**values, by=self.person, now=self.now))

    @extend_schema(request=PartTypeChange, responses=PartTypeOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change name, maker or rated values."""

        def change(row: PartType, version: int, changes: dict) -> PartType:
            return change_part_type(part_type_id=row.pk, version=version, changes=changes, by=self.person, now=self.now)

        return self.change(pk, PartTypeChange, change)
