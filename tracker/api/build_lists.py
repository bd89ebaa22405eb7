"""Build lists over the API: what each model is built from."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request

from services.positions import POSITIONS
from tracker.actions.build_lists import Line, add_build_list, build_list_from_trikes, change_build_list
from tracker.http.etags import demanded_version
from tracker.http.fields import Body, Choice, Id, Shown, Text, YesNo
from tracker.http.resource import Resource
from tracker.models import BuildList, BuildListLine
from tracker.queries.build_lists import build_lists


class LineOut(Shown):
    """One position. `part_type` null: any type that goes there."""

    class Meta:
        model = BuildListLine
        fields = ["position", "part_type", "required"]
        read_only_fields = fields


class BuildListOut(Shown):
    """A model's list, in the order of the positions."""

    lines = LineOut(many=True, read_only=True)

    class Meta:
        model = BuildList
        fields = ["id", "model", "lines", "version"]
        read_only_fields = fields


class NewLine(Body):
    """One position of a list."""

    position = Choice(choices=list(POSITIONS))
    part_type = Id(allow_null=True, default=None)
    required = YesNo(default=True)


class BuildListChange(Body):
    """All lines of a list: they take the place of those that stand there."""

    lines = NewLine(many=True, max_length=len(POSITIONS))


class NewBuildList(BuildListChange):
    """A new list."""

    model = Text(max_length=80)


class FromTrikes(Body):
    """Delivered trikes whose parts make the list. Without `model` the first one names it."""

    trikes = serializers.ListField(child=Id(), min_length=1, max_length=500)
    model = Text(max_length=80, allow_blank=True, default="")


class BuildListFilter(filters.FilterSet):
    """How lists can be narrowed."""

    model = filters.CharFilter(lookup_expr="iexact")

    class Meta:
        model = BuildList
        fields: list[str] = []


class BuildLists(Resource):
    """The build lists."""

    resource, output, filterset_class = "build-lists", BuildListOut, BuildListFilter
    orders = ("model", "-model", "id", "-id")

    def get_queryset(self) -> QuerySet[BuildList]:
        """Lists with their lines."""
        return build_lists()

    @extend_schema(request=NewBuildList, responses={201: BuildListOut})
    def create(self, request: Request) -> HttpResponse:
        """Begin the list of a model."""
        values = self.read(NewBuildList)
        return self.create_once(
            lambda: add_build_list(model=values["model"], lines=_lines(values), by=self.person, now=self.now)
        )

    @extend_schema(request=BuildListChange, responses=BuildListOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Replace the lines of a list: all of them are sent, each whole."""
        row = self.row(pk)
        version, lines = demanded_version(self.request, row.version), _lines(self.read(BuildListChange))
        change_build_list(build_list_id=row.pk, version=version, lines=lines, by=self.person, now=self.now)
        return self.single(self.row(pk))

    @extend_schema(request=FromTrikes, responses={201: BuildListOut})
    @action(detail=False, methods=["post"], url_path="from-trikes")
    def from_trikes(self, request: Request) -> HttpResponse:
        """Make a model's list from what delivered trikes of it carry now."""
        values = self.read(FromTrikes)
        return self.create_once(
            lambda: build_list_from_trikes(
                trike_ids=values["trikes"], model=values["model"], by=self.person, now=self.now
            )
        )


def _lines(values: dict) -> list[Line]:
    return [Line(line["position"], line["part_type"], line["required"]) for line in values["lines"]]
