"""Owners over the API. Names and addresses are shown to those who need them to work; null means: withheld."""

from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request

from services.identity import fold_name
from services.language import LANGUAGES
from tracker.actions.erasing import ask_erasure, erase_owner
from tracker.actions.owners import add_owner, change_owner
from tracker.http.etags import offered_version
from tracker.http.fields import Body, Choice, Shown, Text, YesNo
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.http.roles import sees_personal_data
from tracker.models import Owner
from tracker.queries import lists

PERSONAL = ("name", "email", "phone")


class OwnerOut(Shown):
    """A rider. `name`, `email` and `phone` are null for roles that do not need them."""

    name = serializers.CharField(allow_null=True, read_only=True)
    email = serializers.CharField(allow_null=True, read_only=True)
    phone = serializers.CharField(allow_null=True, read_only=True)
    trikes = serializers.SerializerMethodField()

    class Meta:
        model = Owner
        fields = [
            "id", "name", "email", "phone", "time_zone", "distance_unit", "pressure_unit", "language",
            "reminders_agreed", "agreed_at", "agreed_source", "stopped_at", "email_dead_at", "erase_asked_at", "erased_at",
            "trikes", "version",
        ]  # fmt: skip
        read_only_fields = fields

    def get_trikes(self, row: Owner) -> list[int]:
        """The ids of the trikes this owner has now."""
        return [ownership.trike_id for ownership in row.now_owned]

    def to_representation(self, row: Owner) -> dict[str, Any]:
        """Return the row, without personal data where the role does not need it."""
        shown = super().to_representation(row)
        if not sees_personal_data(self.context["request"]):
            shown |= dict.fromkeys(PERSONAL)
        return shown


class OwnerChange(Body):
    """What can be changed of an owner."""

    name = Text(max_length=120)
    email = Text(max_length=254, allow_blank=True, required=False)
    phone = Text(max_length=40, allow_blank=True, required=False)
    time_zone = Text(max_length=64, required=False)
    distance_unit = Choice(choices=["km", "mi"], required=False)
    pressure_unit = Choice(choices=["psi", "bar", "kPa"], required=False)
    language = Choice(choices=list(LANGUAGES), required=False)
    reminders_agreed = YesNo(required=False)
    agreed_source = Text(max_length=80, allow_blank=True, required=False)


class NewOwner(OwnerChange):
    """A new owner."""


class OwnerFilter(filters.FilterSet):
    """How owners can be found."""

    name = filters.CharFilter(method="named", label="Words of the name; case and accents do not matter.")

    class Meta:
        model = Owner
        fields: list[str] = []

    def named(self, rows: QuerySet[Owner], name: str, text: str) -> QuerySet[Owner]:
        """Owners whose name has all words of `text`."""
        for word in fold_name(text).split():
            rows = rows.filter(search_name__contains=word)
        return rows


class Owners(Resource):
    """The riders."""

    resource, output, filterset_class = "owners", OwnerOut, OwnerFilter
    orders = ("id", "-id")

    def known_parameters(self) -> set[str]:
        """Who does not see names cannot search by them either."""
        return super().known_parameters() - (set() if sees_personal_data(self.request) else {"name"})

    def get_queryset(self) -> QuerySet[Owner]:
        """Owners with their trikes."""
        return lists.owners()

    @extend_schema(request=NewOwner, responses={201: OwnerOut})
    def create(self, request: Request) -> HttpResponse:
        """Add an owner."""
        values = self.read(NewOwner)
        return self.create_once(lambda: add_owner(**values, by=self.person, now=self.now))

    @extend_schema(request=OwnerChange, responses=OwnerOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change contact, units or consent."""

        def change(row: Owner, version: int, changes: dict) -> Owner:
            return change_owner(owner_id=row.pk, version=version, changes=changes, by=self.person, now=self.now)

        return self.change(pk, OwnerChange, change)

    @extend_schema(request=None, responses=OwnerOut)
    @action(detail=True, methods=["post"], url_path="ask-erasure")
    def ask_erasure(self, request: Request, pk: str) -> HttpResponse:
        """Note that they want their data erased; an admin does it, or answers why not, within a month."""
        row = self.row(pk)

        def work() -> Made:
            ask_erasure(owner_id=row.pk, now=self.now)
            return self.made(self.row(pk), 200)

        return self.once(work)

    @extend_schema(request=None, responses=OwnerOut)
    @action(detail=True, methods=["post"])
    def erase(self, request: Request, pk: str) -> HttpResponse:
        """Erase what is personal of an owner, for good (GDPR article 17). Their trikes have no owner from today on."""
        row = self.row(pk)

        def work() -> Made:
            version = offered_version(request, self.row(pk).version)
            erase_owner(owner_id=row.pk, version=version, by=self.person, now=self.now)
            return self.made(self.row(pk), 200)

        return self.once(work)
