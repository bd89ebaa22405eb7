"""The failure review over the API: part types in the order of evidence, and all that is known of one."""

from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from services.parts import PART_KINDS
from services.review.found import ACTIONS, METRICS
from tracker.http.fields import Shown
from tracker.http.problems import Problem
from tracker.http.resource import Resource, id_of
from tracker.models import ReviewFinding
from tracker.queries.review import all_findings, finding_of

METRIC = OpenApiParameter("metric", OpenApiTypes.STR, enum=list(METRICS), description="Else each in its main metric.")


class FindingOut(Shown):
    """A part type in the review: its place, verdict and what to do. Rates per unit of the metric, with exact 90 % limits."""

    part_number = serializers.CharField(source="part_type.part_number")
    name = serializers.CharField(source="part_type.name")
    kind = serializers.CharField(source="part_type.kind")
    do = serializers.CharField(source="payload.finding.do")
    counts = serializers.DictField(source="payload.study.counts")
    rate = serializers.DictField(source="payload.study.rate")
    pattern = serializers.CharField(source="payload.study.life.pattern")
    ahead = serializers.DictField(source="payload.study.ahead", allow_null=True)
    until = serializers.DateField(source="run.until")
    reckoned_at = serializers.DateTimeField(source="run.finished_at")

    class Meta:
        model = ReviewFinding
        fields = [
            "part_type", "part_number", "name", "kind", "metric", "is_main", "rank", "verdict", "action", "do", "q",
            "flagged_since", "counts", "rate", "pattern", "ahead", "until", "reckoned_at",
        ]  # fmt: skip
        read_only_fields = fields


class FindingWhole(FindingOut):
    """The same with everything behind it: `study` (lives, curves, comparisons, months, views) and `finding` (reasons)."""

    study = serializers.DictField(source="payload.study")
    finding = serializers.SerializerMethodField()

    class Meta(FindingOut.Meta):
        fields = [*FindingOut.Meta.fields, "study", "finding"]
        read_only_fields = fields

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_finding(self, row: ReviewFinding) -> dict[str, Any]:
        """The finding as it was stored."""
        return row.payload["finding"]


class FindingFilter(filters.FilterSet):
    """How the review can be narrowed."""

    metric = filters.ChoiceFilter(choices=list(METRICS.items()))
    kind = filters.ChoiceFilter(field_name="part_type__kind", choices=[(code, code) for code in sorted(PART_KINDS)])
    action = filters.ChoiceFilter(choices=list(ACTIONS.items()))

    class Meta:
        model = ReviewFinding
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[ReviewFinding]) -> QuerySet[ReviewFinding]:
        """Without a metric each part type is told in its main one."""
        rows = super().filter_queryset(queryset)
        return rows if self.form.cleaned_data.get("metric") else rows.filter(is_main=True)


class Reviews(Resource):
    """What the newest failure review found; it is reckoned at night and when a reviewer asks."""

    resource, output, filterset_class = "review", FindingOut, FindingFilter
    orders = ("rank", "-rank", "id", "-id")

    def get_queryset(self) -> QuerySet[ReviewFinding]:
        """All that is stored, with part types and runs."""
        return all_findings()

    def known_parameters(self) -> set[str]:
        """A single part type can be asked for in another metric."""
        return {"metric"} if self.action == "retrieve" else super().known_parameters()

    @extend_schema(parameters=[METRIC], responses=FindingWhole)
    def retrieve(self, request: Request, pk: str) -> Response:
        """One part type, by its id in part-types."""
        metric = request.query_params.get("metric", "")
        if metric and metric not in METRICS:
            raise Problem("bad-query", f"metric is one of {', '.join(METRICS)}.")
        row = finding_of(id_of(pk), metric)
        if row is None:
            raise Http404
        made = self.made(row, 200, FindingWhole)
        return Response(made.data, headers={"ETag": f'"{row.fingerprint[:16]}-{row.run_id}"'})
