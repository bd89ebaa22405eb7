"""Days that owners asked for, over the API: the desk lists and decides them."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request

from tracker.actions.appointments import CHOICES, MOST_WORDS, decide_appointment
from tracker.http.fields import Body, Choice, Day, Shown, Text
from tracker.http.filters import DayFilter, IdFilter
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.models import Appointment


class AppointmentOut(Shown):
    """A day one owner asked for. `note`: the owner's words; `answer`: the desk's. After an offer `on` is the day offered."""

    class Meta:
        model = Appointment
        fields = [
            "id", "trike", "owner", "visit", "on", "minutes", "state", "note", "answer", "asked_at", "decided_at",
            "decided_by",
        ]  # fmt: skip
        read_only_fields = fields


class AppointmentDecision(Body):
    """What the desk says: confirm the day, decline it with words, or offer another one (`on`)."""

    choice = Choice(choices=list(CHOICES))
    answer = Text(max_length=MOST_WORDS, allow_blank=True, default="")
    on = Day(required=False)


class AppointmentFilter(filters.FilterSet):
    """How they can be narrowed."""

    state = filters.ChoiceFilter(choices=Appointment.State.choices)
    trike = IdFilter(field_name="trike_id")
    owner = IdFilter(field_name="owner_id")
    on_before = DayFilter(field_name="on", lookup_expr="lt")
    on_from = DayFilter(field_name="on", lookup_expr="gte")

    class Meta:
        model = Appointment
        fields: list[str] = []


class Appointments(Resource):
    """Appointments, soonest day first. Owners ask behind their links."""

    resource, output, filterset_class = "appointments", AppointmentOut, AppointmentFilter
    orders = ("on", "-on", "id", "-id")

    def get_queryset(self) -> QuerySet[Appointment]:
        """All of them."""
        return Appointment.objects.all()

    @extend_schema(request=AppointmentDecision, responses=AppointmentOut)
    @action(detail=True, methods=["post"])
    def decide(self, request: Request, pk: str) -> HttpResponse:
        """Confirm, decline or offer another day; the owner gets a mail with the answer."""
        row, values = self.row(pk), self.read(AppointmentDecision)

        def work() -> Made:
            decide_appointment(appointment_id=row.pk, by=self.person, now=self.now, **values)
            return self.made(self.row(pk), 200)

        return self.once(work)
