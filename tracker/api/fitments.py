"""Fitments over the API: a component goes into a position, and out again."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request

from services.positions import POSITIONS
from tracker.actions.fitments import fit_component, remove_component
from tracker.http.fields import Body, Choice, Id, Moment, Shown, Text
from tracker.http.filters import IdFilter, YesNoFilter
from tracker.http.resource import Resource
from tracker.models import Component, Fitment

FATES = [state for state in Component.State.values if state != Component.State.FITTED]


class FitmentOut(Shown):
    """A component in a position over a span of time. `removed_at` null: it still sits there."""

    serial = serializers.CharField(source="component.serial", allow_null=True, read_only=True)
    frame_serial = serializers.CharField(source="trike.frame_serial", read_only=True)

    class Meta:
        model = Fitment
        fields = [
            "id", "component", "serial", "trike", "frame_serial", "position", "fitted_at", "removed_at",
            "removal_reason", "fate",
        ]  # fmt: skip
        read_only_fields = fields


class NewFitment(Body):
    """Fit a component from stock."""

    trike = Id()
    position = Choice(choices=sorted(POSITIONS))
    component = Id()
    fitted_at = Moment()


class Removal(Body):
    """Take a component off and say where it goes."""

    removed_at = Moment()
    reason = Text(max_length=200, allow_blank=True, default="")
    fate = Choice(choices=FATES, default=Component.State.IN_STOCK.value)


class FitmentFilter(filters.FilterSet):
    """How fitments can be narrowed."""

    trike = IdFilter(field_name="trike_id")
    component = IdFilter(field_name="component_id")
    position = filters.ChoiceFilter(choices=[(code, code) for code in sorted(POSITIONS)])
    current = YesNoFilter(field_name="removed_at", lookup_expr="isnull", label="Only those that have not ended.")

    class Meta:
        model = Fitment
        fields: list[str] = []


class Fitments(Resource):
    """What sits, or sat, where."""

    resource, output, filterset_class = "fitments", FitmentOut, FitmentFilter
    orders = ("-fitted_at", "fitted_at", "id", "-id")

    @property
    def members(self) -> dict[str, str]:
        """`at` of the trade is one of two members here."""
        return {"at": "removed_at" if self.action == "remove" else "fitted_at"}

    def get_queryset(self) -> QuerySet[Fitment]:
        """Fitments with component and trike."""
        return Fitment.objects.select_related("component", "trike")

    @extend_schema(request=NewFitment, responses={201: FitmentOut})
    def create(self, request: Request) -> HttpResponse:
        """Fit a component."""
        values = self.read(NewFitment)
        return self.create_once(
            lambda: fit_component(
                trike_id=values["trike"],
                position=values["position"],
                component_id=values["component"],
                at=values["fitted_at"],
                by=self.person,
                now=self.now,
                source=self.source,
            )
        )

    @extend_schema(request=Removal, responses=FitmentOut)
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, pk: str) -> HttpResponse:
        """Take the component off."""
        row, values = self.row(pk), self.read(Removal)

        def work():
            remove_component(
                fitment_id=row.pk, at=values["removed_at"], reason=values["reason"], fate=values["fate"],
                by=self.person, now=self.now, source=self.source,
            )  # fmt: skip
            return self.made(self.row(pk), 200)

        return self.once(work)
