"""Days on which the workshop is closed, over the API."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from tracker.actions.closings import MOST_WORDS, add_closing, remove_closing
from tracker.http.fields import Body, Day, Shown, Text
from tracker.http.filters import DayFilter
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.models import Closing
from tracker.queries.closing_list import with_expected


class ClosingOut(Shown):
    """Days without work, `first` and `last` included."""

    expected = serializers.IntegerField(
        help_text="Days asked for or agreed that lie in it: /appointments tells whose, by on_from and on_before."
    )

    class Meta:
        model = Closing
        fields = ["id", "first", "last", "reason", "entered_by", "entered_at", "expected"]
        read_only_fields = fields


class NewClosing(Body):
    """From `first` to `last`, both included; without `last` one day."""

    first = Day()
    last = Day(required=False)
    reason = Text(max_length=MOST_WORDS, allow_blank=True, default="")


class ClosingFilter(filters.FilterSet):
    """How they can be narrowed."""

    last_from = DayFilter(field_name="last", lookup_expr="gte")
    first_before = DayFilter(field_name="first", lookup_expr="lt")

    class Meta:
        model = Closing
        fields: list[str] = []


class Closings(Resource):
    """Closing days, soonest first. Nothing is proposed or offered on them."""

    resource, output, filterset_class = "closings", ClosingOut, ClosingFilter
    orders = ("first", "-first", "id", "-id")

    def get_queryset(self) -> QuerySet[Closing]:
        """All of them, with how many owners expect the workshop to be open then."""
        return with_expected(Closing.objects.all())

    @extend_schema(request=NewClosing, responses={201: ClosingOut})
    def create(self, request: Request) -> HttpResponse:
        """Close the workshop. Days that are agreed already stay: ring these owners."""
        values = self.read(NewClosing)
        return self.create_once(lambda: add_closing(by=self.person, now=self.now, **values))

    @extend_schema(request=None, responses=ClosingOut)
    def destroy(self, request: Request, pk: str) -> HttpResponse:
        """Open again; answers with what was removed. What is over stays."""
        row = self.row(pk)

        def work() -> Made:
            remove_closing(closing_id=row.pk, by=self.person, now=self.now)
            return self.made(row, 200)

        return self.once(work)
