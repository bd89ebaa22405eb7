"""Odometer readings over the API: one, many at once, and the decision on a doubtful one."""

from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request

from tracker.actions.bulk_readings import MOST_ROWS, record_readings
from tracker.actions.usage import AS_TYPED, UNANSWERED, decide_reading, record_reading
from tracker.http.fields import Body, Choice, Id, Moment, Number, Shown, Text, YesNo
from tracker.http.filters import IdFilter, MomentFilter
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.models import OdometerReading
from tracker.models.usage import Source
from tracker.queries import lists


class ProposalOut(serializers.Serializer):
    """What a doubtful reading may have meant."""

    code = serializers.CharField()
    km = serializers.FloatField()
    words = serializers.CharField()


class ReadingOut(Shown):
    """What a display showed: `value` in `unit` as typed, `km` what counts, and the verdict with its reason."""

    value = serializers.FloatField(read_only=True)
    proposals = ProposalOut(many=True, read_only=True)
    frame_serial = serializers.CharField(source="trike.frame_serial", read_only=True)

    class Meta:
        model = OdometerReading
        fields = [
            "id", "trike", "frame_serial", "read_at", "value", "unit", "km", "source", "verdict", "reason_code",
            "reason", "proposals", "entered_by", "decided_by", "decided_at", "note", "recorded_at", "version",
        ]  # fmt: skip
        read_only_fields = fields


class NewReading(Body):
    """A reading as the display shows it."""

    trike = Id()
    value = Number(min_value=0, max_value=1_000_000)
    unit = Choice(choices=["km", "mi"], default="km")
    read_at = Moment()
    note = Text(max_length=200, allow_blank=True, default="")


class OneReading(NewReading):
    """A reading with its answer: a person sends `confirm` false, is asked where it is unlikely, and sends true or mends it.

    Without `confirm` nobody is asked: the way of machines.
    """

    confirm = YesNo(
        required=False, help_text="false: ask me first where it is unlikely; true: I was asked, it is right."
    )


def with_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values with `confirm` turned into the answer that the actions take."""
    told = {True: AS_TYPED, False: UNANSWERED}
    answer = told.get(values.pop("confirm", None))
    return {**values, "answer": answer}


class ManyReadings(Body):
    """Readings of many trikes, written all or none."""

    readings = NewReading(many=True, allow_empty=False, max_length=MOST_ROWS)


class ManyReadingsOut(serializers.Serializer):
    """The readings written, in the order they came."""

    readings = ReadingOut(many=True)


class Decision(Body):
    """`accept` as typed, `reject`, or the code of one of the reading's proposals."""

    choice = Text(max_length=40)


class ReadingFilter(filters.FilterSet):
    """How readings can be narrowed."""

    trike = IdFilter(field_name="trike_id")
    verdict = filters.ChoiceFilter(choices=OdometerReading.Verdict.choices)
    source = filters.ChoiceFilter(choices=Source.choices)
    read_after = MomentFilter(field_name="read_at", lookup_expr="gte")
    read_before = MomentFilter(field_name="read_at", lookup_expr="lt")

    class Meta:
        model = OdometerReading
        fields: list[str] = []


class Readings(Resource):
    """What the displays showed."""

    resource, output, filterset_class = "readings", ReadingOut, ReadingFilter
    orders = ("-read_at", "read_at", "id", "-id")

    def get_queryset(self) -> QuerySet[OdometerReading]:
        """Readings with their trike."""
        return lists.readings()

    @extend_schema(request=OneReading, responses={201: ReadingOut})
    def create(self, request: Request) -> HttpResponse:
        """Record a reading. A doubtful one is kept as `suspect` with its likely reason and waits for a decision.

        With `confirm` false an unlikely one is not recorded yet: 409 `please-confirm`, whose `facts` hold the expected
        range (`expected_low_km`, `expected_high_km`) and `proposals`. Sent again with `confirm` true it is accepted, and it
        is noted that somebody was asked.
        """
        values = with_answer(self.read(OneReading))
        trike_id = values.pop("trike")
        told = {"by": self.person, "now": self.now, "source": self.source}
        return self.create_once(lambda: record_reading(trike_id=trike_id, **values, **told))

    @extend_schema(request=ManyReadings, responses={201: ManyReadingsOut})
    @action(detail=False, methods=["post"])
    def bulk(self, request: Request) -> HttpResponse:
        """Record many readings: all or none, every bad row reported. The Idempotency-Key is required."""
        rows = self.read(ManyReadings)["readings"]

        def work() -> Made:
            written = record_readings(rows=rows, source=self.source, by=self.person, now=self.now)
            shown = {row.pk: row for row in self.get_queryset().filter(pk__in=[row.pk for row in written])}
            return Made(ManyReadingsOut({"readings": [shown[row.pk] for row in written]}).data)

        return self.once(work, required=True)

    @extend_schema(request=Decision, responses=ReadingOut)
    @action(detail=True, methods=["post"])
    def decide(self, request: Request, pk: str) -> HttpResponse:
        """Decide a suspect reading, or an accepted one that nobody decided and that later readings speak against."""
        row, choice = self.row(pk), self.read(Decision)["choice"]

        def work() -> Made:
            decide_reading(reading_id=row.pk, choice=choice, by=self.person, now=self.now)
            return self.made(self.row(pk), 200)

        return self.once(work)
