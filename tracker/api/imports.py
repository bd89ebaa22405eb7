"""Spreadsheets over the API: uploaded here, read by a worker, looked at, confirmed; written all or nothing."""

import django_filters as filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from tracker.actions.import_files import try_again
from tracker.actions.imports import confirm, upload
from tracker.http.fields import Body, Choice, Shown
from tracker.http.idempotency import Made
from tracker.http.parsing import UploadParser
from tracker.http.resource import Resource
from tracker.models import ImportBatch, ImportRow
from tracker.queries.imports import batches


class ImportOut(Shown):
    """An uploaded file and how far it is: poll until `checked`, then look at its rows and confirm."""

    class Meta:
        model = ImportBatch
        fields = [
            "id", "kind", "file_name", "sha256", "state", "message", "rows_total", "rows_good", "rows_skipped",
            "rows_questioned", "rows_bad", "rows_done", "uploaded_by", "uploaded_at", "finished_at",
        ]  # fmt: skip
        read_only_fields = fields


class ImportRowOut(Shown):
    """One row of the file with its verdict. `number` counts as the spreadsheet does: the header is row 1."""

    raw = serializers.JSONField(read_only=True)

    class Meta:
        model = ImportRow
        fields = ["number", "verdict", "field", "code", "message", "raw"]
        read_only_fields = fields


class NewImport(Body):
    """A CSV or XLSX file of at most 5 MB."""

    kind = Choice(choices=ImportBatch.Kind.values)
    file = serializers.FileField(max_length=200, allow_empty_file=True)


class ImportFilter(filters.FilterSet):
    """How imports can be narrowed."""

    state = filters.ChoiceFilter(choices=ImportBatch.State.choices)
    kind = filters.ChoiceFilter(choices=ImportBatch.Kind.choices)

    class Meta:
        model = ImportBatch
        fields: list[str] = []


class ImportRowFilter(filters.FilterSet):
    """How the rows of a file can be narrowed."""

    verdict = filters.ChoiceFilter(choices=ImportRow.Verdict.choices)


class Imports(Resource):
    """Spreadsheets on their way in."""

    resource, output, filterset_class = "imports", ImportOut, ImportFilter
    orders = ("-uploaded_at", "uploaded_at", "id", "-id")
    pages = frozenset({"list", "rows"})

    def get_parsers(self) -> list[BaseParser]:
        """Files come in here and nowhere else."""
        method = self.request.method.lower() if self.request else ""
        step = getattr(self, "action_map", {}).get(method) or getattr(self, "action", "")
        return [UploadParser()] if step == "create" else super().get_parsers()

    def get_queryset(self) -> QuerySet[ImportBatch]:
        """Imports without their files."""
        return batches()

    @extend_schema(request={"multipart/form-data": NewImport}, responses={201: ImportOut})
    def create(self, request: Request) -> HttpResponse:
        """Upload a file. A worker reads it; nothing is written before it is confirmed."""
        values = self.read(NewImport)
        file = values["file"]
        told = {"by": self.person, "now": self.now}
        return self.create_once(lambda: upload(kind=values["kind"], file_name=file.name, content=file.read(), **told))

    @extend_schema(responses=ImportRowOut(many=True))
    @action(detail=True, filterset_class=ImportRowFilter, orders=("number", "-number"))
    def rows(self, request: Request, pk: str) -> Response:
        """The file's rows, each with its verdict."""
        return self.page(self.filter_queryset(ImportRow.objects.filter(batch=self.row(pk))), ImportRowOut)

    @extend_schema(request=None, responses=ImportOut)
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, pk: str) -> HttpResponse:
        """Let a checked file without bad rows be written."""
        row = self.row(pk)

        def work() -> Made:
            confirm(batch_id=row.pk, by=self.person, now=self.now)
            return self.made(self.row(pk), 200)

        return self.once(work)

    @extend_schema(request=None, responses=ImportOut)
    @action(detail=True, methods=["post"], url_path="try-again")
    def try_again(self, request: Request, pk: str) -> HttpResponse:
        """Let a failed file be checked anew, while it is kept; then look and confirm as after an upload."""
        row = self.row(pk)

        def work() -> Made:
            try_again(batch_id=row.pk, by=self.person, now=self.now)
            return self.made(self.row(pk), 200)

        return self.once(work)
