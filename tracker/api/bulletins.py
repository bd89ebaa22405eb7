"""Bulletins over the API: written, tried out, released by a second person, ended; and the components under them."""

from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from services.bulletins import STATES
from services.language import ENGLISH, LANGUAGES
from tracker.actions import bulletins as actions
from tracker.actions.refusals import FieldInvalid
from tracker.http.etags import demanded_version
from tracker.http.fields import Body, Choice, Day, Id, Moment, Number, Shown, Text, Whole, YesNo
from tracker.http.filters import IdFilter, SerialFilter, YesNoFilter
from tracker.http.idempotency import Made
from tracker.http.resource import Resource
from tracker.models import Bulletin, BulletinPart
from tracker.queries import bulletins as queries

KM = {"min_value": 1, "max_value": 100_000, "allow_null": True, "required": False}


class RangeOut(serializers.Serializer):
    """Serials from `first` to `last`, both included, in natural order."""

    first = serializers.CharField()
    last = serializers.CharField()


class ProgressOut(serializers.Serializer):
    """How far the work has come. `completion`: corrected, inspected or scrapped, of all; `contactable`: owners of `owners`."""

    states = serializers.DictField(child=serializers.IntegerField())
    affected = serializers.IntegerField()
    completion = serializers.FloatField()
    corrected = serializers.FloatField()
    contactable = serializers.IntegerField()
    owners = serializers.IntegerField()
    words = serializers.CharField()


class BulletinTextOut(serializers.Serializer):
    """What it tells owners who read `language`."""

    language = serializers.CharField()
    title = serializers.CharField()
    hazard = serializers.CharField()
    stop_riding = serializers.CharField()
    remedy = serializers.CharField()


class BulletinOut(Shown):
    """A bulletin and what it names. `written_by`: who changed it last; `warnings`: words of its notice that soften the hazard.

    `texts`: its words for owners who read another language than English.
    """

    part_types = serializers.PrimaryKeyRelatedField(many=True, read_only=True)
    serials = RangeOut(source="ranges", many=True, read_only=True)
    texts = BulletinTextOut(many=True, read_only=True)
    warnings = serializers.SerializerMethodField()

    class Meta:
        model = Bulletin
        fields = [
            "id", "number", "title", "severity", "state", "is_hazard", "hazard", "stop_riding", "remedy", "work", "minutes",
            "deadline_on", "deadline_km", "every_months", "every_km", "part_types", "serials", "batches", "firmware",
            "made_from", "made_until", "note", "texts", "warnings", "written_by", "written_at", "released_by", "released_at",
            "ended_by", "ended_at", "ended_why", "version",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_warnings(self, row: Bulletin) -> list[str]:
        """What to put right before it is released; nothing once it was."""
        return list(actions.warnings_of(row)) if row.state == Bulletin.State.DRAFT else []


class BulletinRangeIn(Body):
    """A range of serials."""

    first = Text(max_length=60)
    last = Text(max_length=60)


class BulletinTextIn(Body):
    """What it tells owners who read `language`: all that the English tells. Empty texts take the language out."""

    language = Choice(choices=[code for code in LANGUAGES if code != ENGLISH])
    title = Text(max_length=120, allow_blank=True, default="")
    hazard = Text(max_length=2_000, allow_blank=True, default="")
    stop_riding = Text(max_length=400, allow_blank=True, default="")
    remedy = Text(max_length=2_000, allow_blank=True, default="")


class BulletinChange(Body):
    """What a draft says. Everything its scope names must hold; what is left out stays as it is."""

    title = Text(max_length=120, required=False)
    severity = Choice(choices=Bulletin.Severity.values, required=False)
    is_hazard = YesNo(required=False)
    hazard = Text(max_length=2_000, allow_blank=True, required=False)
    stop_riding = Text(max_length=400, allow_blank=True, required=False)
    remedy = Text(max_length=2_000, allow_blank=True, required=False)
    work = Text(max_length=2_000, allow_blank=True, required=False)
    minutes = Whole(min_value=1, max_value=1_440, required=False)
    deadline_on = Day(allow_null=True, required=False)
    deadline_km = Number(**KM)
    every_months = Whole(min_value=1, max_value=240, allow_null=True, required=False)
    every_km = Number(**KM)
    part_types = serializers.ListField(child=Id(), min_length=1, max_length=100, required=False)
    serials = BulletinRangeIn(many=True, max_length=actions.MOST_RANGES, required=False)
    batches = serializers.ListField(child=Text(max_length=40), max_length=actions.MOST_MARKS, required=False)
    firmware = serializers.ListField(child=Text(max_length=40), max_length=actions.MOST_MARKS, required=False)
    made_from = Day(allow_null=True, required=False)
    made_until = Day(allow_null=True, required=False)
    note = Text(max_length=2_000, allow_blank=True, required=False)
    texts = BulletinTextIn(many=True, max_length=len(LANGUAGES), required=False)


class NewBulletin(BulletinChange):
    """A draft: a title and at least one part type."""

    title = Text(max_length=120)
    part_types = serializers.ListField(child=Id(), min_length=1, max_length=100)


class BulletinRelease(Body):
    """`warnings_read`: whoever releases read the `warnings` and wants the words as they are."""

    warnings_read = YesNo(default=False)


class BulletinEnd(Body):
    """How it ends: closed when the work is done, withdrawn when it was wrong; with the reason where parts are open."""

    how = Choice(choices=["closed", "withdrawn"])
    why = Text(max_length=400, allow_blank=True, default="")


class MatchesOut(serializers.Serializer):
    """What a bulletin's scope touches now. `cannot_exclude`: something that it asks for is not known of the component."""

    total = serializers.IntegerField()
    affected = serializers.IntegerField()
    cannot_exclude = serializers.IntegerField()
    fitted = serializers.IntegerField()
    in_stock = serializers.IntegerField()
    elsewhere = serializers.IntegerField()
    trikes = serializers.IntegerField()
    owners = serializers.IntegerField()
    contactable = serializers.IntegerField()


class BulletinFilter(filters.FilterSet):
    """How bulletins can be narrowed."""

    state = filters.ChoiceFilter(choices=Bulletin.State.choices)
    severity = filters.ChoiceFilter(choices=Bulletin.Severity.choices)
    is_hazard = YesNoFilter()
    part_type = IdFilter(field_name="part_types")
    number = filters.CharFilter(lookup_expr="iexact")

    class Meta:
        model = Bulletin
        fields: list[str] = []


class Bulletins(Resource):
    """The bulletins. A released one stands: it is closed or withdrawn, never changed."""

    resource, output, filterset_class = "bulletins", BulletinOut, BulletinFilter
    orders = ("-id", "id", "number", "-number")
    members = {"serial": "serials"}

    def get_queryset(self) -> QuerySet[Bulletin]:
        """Bulletins with what they name."""
        return Bulletin.objects.prefetch_related("part_types", "ranges", "texts")

    @extend_schema(request=NewBulletin, responses={201: BulletinOut})
    def create(self, request: Request) -> HttpResponse:
        """Begin a draft."""
        values = _values(self.read(NewBulletin))
        return self.create_once(lambda: actions.write_bulletin(values=values, by=self.person, now=self.now))

    @extend_schema(request=BulletinChange, responses=BulletinOut)
    def partial_update(self, request: Request, pk: str) -> HttpResponse:
        """Change a draft."""

        def change(row: Bulletin, version: int, changes: dict) -> Bulletin:
            told = {"bulletin_id": row.pk, "version": version, "by": self.person, "now": self.now}
            return actions.write_bulletin(values=_values(changes), **told)

        return self.change(pk, BulletinChange, change)

    @extend_schema(responses=MatchesOut)
    @action(detail=True)
    def matches(self, request: Request, pk: str) -> Response:
        """Count what its scope touches now, also before it is released."""
        return Response(MatchesOut(queries.count_matches(queries.scope_of(self.row(pk)))).data)

    @extend_schema(responses=ProgressOut)
    @action(detail=True)
    def progress(self, request: Request, pk: str) -> Response:
        """How far the work under it has come."""
        row = self.row(pk)
        return Response(ProgressOut(queries.progress([row.pk])[row.pk]).data)

    @extend_schema(request=BulletinRelease, responses=BulletinOut)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, pk: str) -> HttpResponse:
        """Release a draft: a second person, with If-Match. Owners of a hazard get their notice."""
        row, values = self.row(pk), self.read(BulletinRelease)

        def work() -> Made:
            version = demanded_version(self.request, self.row(pk).version)
            actions.release_bulletin(bulletin_id=row.pk, version=version, by=self.person, now=self.now, **values)
            return self.made(self.row(pk), 200)

        return self.once(work)

    @extend_schema(request=BulletinEnd, responses=BulletinOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> HttpResponse:
        """Close or withdraw it, with If-Match: its due lines and waiting notices go."""
        row, values = self.row(pk), self.read(BulletinEnd)

        def work() -> Made:
            version = demanded_version(self.request, self.row(pk).version)
            actions.end_bulletin(bulletin_id=row.pk, version=version, by=self.person, now=self.now, **values)
            return self.made(self.row(pk), 200)

        return self.once(work)


def _values(body: dict[str, Any]) -> dict[str, Any]:
    values = dict(body)
    if "serials" in body:
        values["serials"] = [(one["first"], one["last"]) for one in body["serials"]]
    if "texts" in body:
        values["texts"] = {one["language"]: one for one in body["texts"]}
        if len(values["texts"]) < len(body["texts"]):
            raise FieldInvalid("A language stands there twice.", field="texts", remedy="Say each language once.")
    return values


# Under a bulletin


class BulletinPartOut(Shown):
    """A component under a bulletin; `trike`, `frame_serial`, `position`: where it sits now, null in stock or gone."""

    bulletin_number = serializers.CharField(source="bulletin.number", read_only=True)
    serial = serializers.CharField(source="component.serial", read_only=True, allow_null=True)
    batch = serializers.CharField(source="component.batch", read_only=True)
    trike = serializers.SerializerMethodField()
    frame_serial = serializers.SerializerMethodField()
    position = serializers.SerializerMethodField()

    class Meta:
        model = BulletinPart
        fields = [
            "id", "bulletin", "bulletin_number", "component", "serial", "batch", "certainty", "state", "since", "by", "note",
            "trike", "frame_serial", "position", "appointment", "joined_at", "done_at", "next_due_on", "next_due_km", "version",
        ]  # fmt: skip
        read_only_fields = fields

    def get_trike(self, row: BulletinPart) -> int | None:
        """The trike's id, or null."""
        stay = _now(row)
        return stay.trike_id if stay else None

    def get_frame_serial(self, row: BulletinPart) -> str | None:
        """The trike's frame serial, or null."""
        stay = _now(row)
        return stay.trike.frame_serial if stay else None

    def get_position(self, row: BulletinPart) -> str | None:
        """Where on the trike, or null."""
        stay = _now(row)
        return stay.position if stay else None


def _now(row: BulletinPart) -> Any:
    return next((stay for stay in row.component.stays if stay.removed_at is None), None)


class BulletinMove(Body):
    """Where a component has come to; `at`: when that was, now if left out. Who refuses is kept with a reason."""

    state = Choice(choices=list(STATES))
    note = Text(max_length=400, allow_blank=True, default="")
    at = Moment(required=False)


class BulletinBooking(Body):
    """The open appointment of its trike that takes the work in."""

    appointment = Id()


class BulletinPartFilter(filters.FilterSet):
    """How components under bulletins can be narrowed."""

    bulletin = IdFilter(field_name="bulletin_id")
    component = IdFilter(field_name="component_id")
    serial = SerialFilter(field_name="component__serial")
    state = filters.ChoiceFilter(choices=[(state, state) for state in STATES])
    certainty = filters.ChoiceFilter(choices=BulletinPart.Certainty.choices)
    trike = IdFilter(method="sits_on", label="Now fitted to this trike.")

    class Meta:
        model = BulletinPart
        fields: list[str] = []

    def sits_on(self, rows: QuerySet[BulletinPart], name: str, trike_id: int) -> QuerySet[BulletinPart]:
        """Components that are on a trike now."""
        return rows.filter(component__fitments__trike_id=trike_id, component__fitments__removed_at__isnull=True)


class BulletinParts(Resource):
    """Components under bulletins, and the steps they take."""

    resource, output, filterset_class = "bulletin-parts", BulletinPartOut, BulletinPartFilter

    def get_queryset(self) -> QuerySet[BulletinPart]:
        """Components with their bulletin and their places."""
        return queries.every_part()

    @extend_schema(request=BulletinMove, responses=BulletinPartOut)
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str) -> HttpResponse:
        """Move a component to another state, with If-Match."""
        row, values = self.row(pk), self.read(BulletinMove)

        def work() -> Made:
            version = demanded_version(self.request, self.row(pk).version)
            actions.move_part(part_id=row.pk, version=version, by=self.person, now=self.now, **values)
            return self.made(self.row(pk), 200)

        return self.once(work)

    @extend_schema(request=BulletinBooking, responses=BulletinPartOut)
    @action(detail=True, methods=["post"])
    def book(self, request: Request, pk: str) -> HttpResponse:
        """Let an appointment of its trike take the work in, with If-Match."""
        row, values = self.row(pk), self.read(BulletinBooking)

        def work() -> Made:
            version = demanded_version(self.request, self.row(pk).version)
            told = {"appointment_id": values["appointment"], "version": version, "by": self.person, "now": self.now}
            actions.book_part(part_id=row.pk, **told)
            return self.made(self.row(pk), 200)

        return self.once(work)
