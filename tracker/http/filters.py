"""Query strings, read strictly: unknown, repeated, empty and ill-typed parameters are refused, never ignored."""

from collections.abc import Iterable
from typing import Any
from urllib.parse import unquote_to_bytes

import django_filters
from django import forms
from django.db.models import QuerySet
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema_field
from rest_framework.request import Request

from services.errors import Refusal
from services.identity import canonical_serial
from tracker.http.fields import BIGGEST_ID, Moment
from tracker.http.parsing import BAD_CHARACTERS
from tracker.http.problems import Fault, Problem

MAX_VALUE = 500


class IdField(forms.IntegerField):
    """Digits only, within what a key can be."""

    def to_python(self, value: Any) -> int | None:
        """Return the id. Raises ValidationError."""
        text = value or ""
        if text and not (text.isascii() and text.isdigit() and len(text) <= 19 and int(text) <= BIGGEST_ID):
            raise forms.ValidationError("An id is a whole number.")
        return int(text) if text else None


@extend_schema_field(int)
class IdFilter(django_filters.NumberFilter):
    """Rows that belong to a thing, by its id."""

    field_class = IdField

    def get_max_validator(self) -> None:
        """The field has its own limit."""
        return


class YesNoField(forms.Field):
    """true or false."""

    def to_python(self, value: Any) -> bool | None:
        """Return the answer. Raises ValidationError."""
        if value not in {"true", "false", None, ""}:
            raise forms.ValidationError("Write true or false.")
        return {"true": True, "false": False}.get(value)


@extend_schema_field(bool)
class YesNoFilter(django_filters.BooleanFilter):
    """Rows with or without something."""

    field_class = YesNoField

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput)
        super().__init__(*args, **kwargs)


class DayFilter(django_filters.DateFilter):
    """A calendar date, YYYY-MM-DD only."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, input_formats=["%Y-%m-%d"], **kwargs)


class MomentField(forms.CharField):
    """A time with its offset. A '+' that a client forgot to encode arrives as a blank and is understood."""

    def to_python(self, value: Any) -> Any:
        """Return the moment. Raises ValidationError."""
        text = super().to_python(value)
        if not text:
            return None
        try:
            return Moment().to_internal_value(text.replace(" ", "+"))
        except Exception as error:
            raise forms.ValidationError("Write a time with its offset, like 2026-05-01T10:00:00Z.") from error


class MomentFilter(django_filters.IsoDateTimeFilter):
    """A moment."""

    field_class = MomentField


class SerialField(forms.CharField):
    """A serial in any spelling: blanks and case do not matter."""

    def to_python(self, value: Any) -> str:
        """Return the canonical serial. Raises ValidationError."""
        text = super().to_python(value)
        try:
            return canonical_serial(text) if text else ""
        except Refusal as refusal:
            raise forms.ValidationError(refusal.message) from refusal


class SerialFilter(django_filters.CharFilter):
    """Rows with a serial."""

    field_class = SerialField


class StrictFilterBackend(DjangoFilterBackend):
    """Filter lists by `view.filterset_class`. Raises Problem bad-query for values of the wrong type."""

    def filter_queryset(self, request: Request, queryset: QuerySet, view: Any) -> QuerySet:
        """Return the rows the query asks for."""
        filterset = self.get_filterset(request, queryset, view)
        if filterset is None:
            return queryset
        if not filterset.is_valid():
            words = [f"{name}: {error}" for name, errors in filterset.errors.items() for error in errors]
            raise Problem("bad-query", " ".join(words), faults=[Fault("", "bad-parameter", word) for word in words])
        return filterset.qs


def check_query(request: Request, known: Iterable[str]) -> None:
    """Refuse a query string with a parameter that is unknown, repeated, empty or not text. Raises Problem bad-query."""
    names = set(known)
    try:
        unquote_to_bytes(request.META.get("QUERY_STRING", "").replace("+", " ")).decode("utf-8")
    except UnicodeDecodeError as error:
        raise Problem("bad-query", "The query string is not UTF-8.") from error
    for name, values in request.query_params.lists():
        if name not in names:
            known_words = ", ".join(sorted(names)) or "none"
            raise Problem("bad-query", f"There is no parameter '{name[:60]}' here. Known: {known_words}.")
        if len(values) > 1:
            raise Problem("bad-query", f"The parameter '{name}' stands twice.")
        if not values[0].strip() or len(values[0]) > MAX_VALUE or BAD_CHARACTERS.search(values[0]):
            raise Problem("bad-query", f"The parameter '{name}' is empty, too long or not plain text.")
