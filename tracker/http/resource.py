"""What every resource of the API shares: strict reading, one action per write, one page per list, entity tags."""

from collections.abc import Callable, Iterator
from datetime import datetime
from functools import cached_property
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.utils import timezone
from rest_framework import viewsets
from rest_framework.exceptions import ErrorDetail
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer, Serializer

from tracker.http.etags import demanded_version, etag_of
from tracker.http.fields import BIGGEST_ID
from tracker.http.filters import check_query
from tracker.http.idempotency import Made, answer_once
from tracker.http.keys import person_of
from tracker.http.paging import PARAMETERS
from tracker.http.problems import Fault, Problem, pointer
from tracker.models import User

# Codes of faults that concern a value, not the form: alone they make a 422, else it is a 400.
ABOUT_VALUES = {"not-a-number", "out-of-range", "not-in-list"}
CODES = {
    "invalid": "wrong-type", "null": "null", "required": "required", "blank": "blank", "empty": "empty",
    "max_length": "too-long", "min_value": "out-of-range", "max_value": "out-of-range", "max_digits": "out-of-range",
    "invalid_choice": "not-in-list", "not_a_list": "wrong-type", "not_a_dict": "wrong-type",
    "null_characters_not_allowed": "bad-text", "surrogate_characters_not_allowed": "bad-text",
}  # fmt: skip


class Resource(viewsets.GenericViewSet):
    """Base of the API's resources. A write is: read the body, call one action, show the row as it now stands."""

    resource: ClassVar[str]  # its name in tracker.http.roles.TABLE and in the address
    output: ClassVar[type[BaseSerializer]]
    orders: ClassVar[tuple[str, ...]] = ("-id", "id")
    members: ClassVar[dict[str, str]] = {}  # field of a refusal -> member of the body, where they differ
    pages: ClassVar[frozenset[str]] = frozenset({"list"})  # the steps that answer with a page of rows
    filterset_class: ClassVar[Any] = None
    extra_parameters: ClassVar[tuple[str, ...]] = ()  # query parameters that are no filters
    http_method_names = ("get", "head", "post", "patch", "delete")

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Who asks, may they, how often; then the query string."""
        super().initial(request, *args, **kwargs)
        check_query(request, self.known_parameters())

    def known_parameters(self) -> set[str]:
        """Return the query parameters of this step."""
        if not self.is_list():
            return set(self.extra_parameters) if self.request.method == "GET" else set()
        filters = getattr(self.filterset_class, "base_filters", {}) if self.filterset_class else {}
        return {*PARAMETERS, *filters, *self.extra_parameters}

    def is_list(self) -> bool:
        """Whether this step answers with a page of rows."""
        return self.action in self.pages

    def get_serializer_class(self) -> type[BaseSerializer]:
        """What the rows of this resource are shown by."""
        return self.output

    @cached_property
    def now(self) -> datetime:
        """The moment of this request."""
        return timezone.now()

    @property
    def person(self) -> User | None:
        """Who is logged in; nobody behind a key."""
        return person_of(self.request)

    @property
    def source(self) -> str:
        """Who told it, as the record keeps it."""
        return "desk" if self.person else "api"

    # Reading

    def list(self, request: Request) -> Response:
        """One page of the rows the query asks for."""
        return self.page(self.filter_queryset(self.get_queryset()))

    def retrieve(self, request: Request, pk: str) -> Response:
        """One row, with its entity tag."""
        return self.single(self.row(pk))

    def page(self, rows: QuerySet, output: type[BaseSerializer] | None = None) -> Response:
        """Return one page of `rows`, shown by `output`."""
        found = self.paginate_queryset(rows)
        shown = (output or self.output)(found, many=True, context=self.get_serializer_context())
        return self.get_paginated_response(shown.data)

    def row(self, pk: str | int, rows: QuerySet | None = None) -> Any:
        """Return the row with this id. Raises Http404 for ids that are none and rows that are not there."""
        number = id_of(pk)
        found = (self.get_queryset() if rows is None else rows).filter(pk=number).first()
        if found is None:
            raise Http404
        return found

    def single(self, row: Any, status: int = 200) -> Response:
        """Return one row."""
        made = self.made(row, status)
        return Response(made.data, status=made.status, headers=made.headers)

    def made(self, row: Any, status: int = 201, output: type[BaseSerializer] | None = None) -> Made:
        """Return a row as the answer of a write, with entity tag and address."""
        headers = {"ETag": etag_of(row.version)} if hasattr(row, "version") and output is None else {}
        if status == 201 and output is None:
            headers["Location"] = f"/api/v1/{self.resource}/{row.pk}"
        data = (output or self.output)(row, context=self.get_serializer_context()).data
        return Made(data, status, headers)

    # Writing

    def read(self, body: type[Serializer], *, partial: bool = False) -> dict[str, Any]:
        """Return the checked body. Raises Problem: invalid-body (400) or invalid-values (422) with every fault."""
        serializer = body(data=self.request.data, partial=partial, context=self.get_serializer_context())
        if not serializer.is_valid():
            raise problem_of(serializer.errors)
        if partial and not serializer.validated_data:
            raise Problem("invalid-body", f"Name something to change: {', '.join(serializer.fields)}.")
        return dict(serializer.validated_data)

    def create_once(self, action: Callable[[], Any]) -> HttpResponse:
        """Call `action`, once per Idempotency-Key, and answer 201 with what it made."""
        return self.once(lambda: self.made(self.row(action().pk)))

    def once(self, work: Callable[[], Made], *, required: bool = False) -> HttpResponse:
        """Do `work`, once per Idempotency-Key."""
        return answer_once(self.request, self.now, work, members=self.members, required=required)

    def change(self, pk: str, body: type[Serializer], action: Callable[[Any, int, dict[str, Any]], Any]) -> Response:
        """Change a row: demand If-Match, call `action(row, version, changes)`, show the row as it stands."""
        row = self.row(pk)
        version = demanded_version(self.request, row.version)
        action(row, version, self.read(body, partial=True))
        return self.single(self.row(pk))


def id_of(text: str | int) -> int:
    """Return the id in an address. Raises Http404 for anything but plain digits within what a key can be."""
    digits = str(text)
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 19 and 0 < int(digits) <= BIGGEST_ID):
        raise Http404
    return int(digits)


def problem_of(errors: Any) -> Problem:
    """Return the problem that tells serializer errors, each by JSON Pointer."""
    faults = list(_faults(errors, ()))[:100]
    if all(fault.code in ABOUT_VALUES for fault in faults):
        return Problem("invalid-values", "Some values are not possible. See errors.", faults=faults)
    return Problem("invalid-body", "The body does not have the form this operation takes. See errors.", faults=faults)


def _faults(errors: Any, place: tuple[str | int, ...]) -> Iterator[Fault]:
    if isinstance(errors, dict):
        for name, inner in errors.items():
            yield from _faults(inner, place if name == "non_field_errors" else (*place, name))
    elif isinstance(errors, list):
        for index, inner in enumerate(errors):
            here = place if isinstance(inner, ErrorDetail) else (*place, index)
            yield from _faults(inner, here)
    else:
        code = getattr(errors, "code", "invalid")
        yield Fault(pointer(*place), CODES.get(code, code.replace("_", "-")), str(errors))
