"""Handovers over the API: rider set-up, final check, two signatures by two people. Keys cannot sign."""

from dataclasses import fields as members_of

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request

from tracker.actions.handovers import SetTo, hand_over, sign_handover
from tracker.http.fields import Body, Choice, Day, Id, Number, Shown, Text, YesNo
from tracker.http.filters import IdFilter
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.models import Handover, HandoverCheck


class CheckOut(Shown):
    """One line of the final check."""

    class Meta:
        model = HandoverCheck
        fields = ["item", "passed", "note"]
        read_only_fields = fields


class HandoverOut(Shown):
    """The as-built record's last page. The trike is delivered when `second_signed_at` is set."""

    checks = CheckOut(many=True, read_only=True)
    suggested = serializers.DictField(help_text="What was proposed for that rider, with its reasons.")

    class Meta:
        model = Handover
        fields = [
            "id", "trike", "handed_over_on", "reading_km", "rider_mass_kg", "system_mass_kg", "shock_pressure_kpa",
            "sag_mm", "elastomer_grade", "toe_in_mm", "suggested",
            "checks", "built_by", "built_signed_at", "second_by", "second_signed_at", "note",
        ]  # fmt: skip
        read_only_fields = fields


class NewCheck(Body):
    """One line of the final check."""

    item = Text(max_length=120)
    passed = YesNo()
    note = Text(max_length=200, allow_blank=True, default="")


class NewHandover(Body):
    """Rider set-up and final check; sending it is the builder's signature.

    `system_mass_kg` is rider, luggage and trike together. `without_missing`: handed over although the model's build list
    requires parts that are not there; `with_bulletins`: although bulletins are open on its parts.
    """

    trike = Id()
    owner = Id()
    handed_over_on = Day()
    reading_km = Number(min_value=0, max_value=1_000_000)
    rider_mass_kg = Number(min_value=20, max_value=250, allow_null=True, default=None)
    system_mass_kg = Number(min_value=30, max_value=500, allow_null=True, default=None)
    shock_pressure_kpa = Number(min_value=0, max_value=3_500, allow_null=True, default=None)
    sag_mm = Number(min_value=0, max_value=150, allow_null=True, default=None)
    elastomer_grade = Choice(choices=["", "soft", "medium", "firm"], default="")
    toe_in_mm = Number(min_value=-10, max_value=10, allow_null=True, default=None)
    checks = NewCheck(many=True, max_length=100)
    without_missing = YesNo(default=False)
    with_bulletins = YesNo(default=False)
    note = Text(max_length=500, allow_blank=True, default="")


class HandoverFilter(filters.FilterSet):
    """How handovers can be narrowed."""

    trike = IdFilter(field_name="trike_id")

    class Meta:
        model = Handover
        fields: list[str] = []


class Handovers(Resource):
    """Handovers with their signatures."""

    resource, output, filterset_class = "handovers", HandoverOut, HandoverFilter

    def get_queryset(self) -> QuerySet[Handover]:
        """Handovers with their final check."""
        return Handover.objects.prefetch_related("checks")

    @extend_schema(request=NewHandover, responses={201: HandoverOut})
    def create(self, request: Request) -> HttpResponse:
        """Record set-up and final check, signed by the person logged in as the builder."""
        values = self.read(NewHandover)
        values["checks"] = [(check["item"], check["passed"], check["note"]) for check in values["checks"]]
        values["set_to"] = SetTo(**{member.name: values.pop(member.name) for member in members_of(SetTo)})
        trike_id, owner_id = values.pop("trike"), values.pop("owner")
        told = {"built_by": self.person, "by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: hand_over(trike_id=trike_id, owner_id=owner_id, **values, **told))

    @extend_schema(request=None, responses=HandoverOut)
    @action(detail=True, methods=["post"])
    def sign(self, request: Request, pk: str) -> HttpResponse:
        """Give the second signature; it must come from another person. The trike is delivered by it."""
        row = self.row(pk)

        def work() -> Made:
            sign_handover(handover_id=row.pk, by=self.person, now=self.now, source=self.source)
            return self.made(self.row(pk), 200)

        return self.once(work)
