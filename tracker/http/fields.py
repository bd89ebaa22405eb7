"""Members of request bodies, taken strictly: a number is a number, a time has an offset, nothing is guessed."""

import math
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

FIRST_YEAR, LAST_YEAR = 1950, 2199
BIGGEST_ID = 2**63 - 1
_TIME = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")
_NUMBER = {"not-a-number": "A number is needed here, not text, not true or false."}
_TYPE = "Text is needed here."


class Text(serializers.CharField):
    """Text, kept as sent; what an action refuses of it says services.identity."""

    default_error_messages = {"wrong-type": _TYPE}

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("trim_whitespace", False)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> str:
        """Return the text; numbers are no text."""
        if not isinstance(data, str):
            self.fail("wrong-type")
        return super().to_internal_value(data)


class Choice(serializers.ChoiceField):
    """One of a list of codes."""

    default_error_messages = {"wrong-type": _TYPE, "invalid_choice": "'{input}' is not in the list."}

    def to_internal_value(self, data: Any) -> str:
        """Return the code."""
        if not isinstance(data, str):
            self.fail("wrong-type")
        return super().to_internal_value(data[:200])


class Number(serializers.FloatField):
    """A finite number. -0 is 0."""

    default_error_messages = _NUMBER

    def __init__(self, *, min_value: float = -1e9, max_value: float = 1e9, **kwargs: Any) -> None:
        super().__init__(min_value=min_value, max_value=max_value, **kwargs)

    def to_internal_value(self, data: Any) -> float:
        """Return the number as float; what is too big for one is out of range."""
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("not-a-number")
        try:
            number = float(data)
        except OverflowError:
            number = 1e308 if data > 0 else -1e308
        if not math.isfinite(number):
            self.fail("not-a-number")
        return number + 0.0


class Whole(serializers.IntegerField):
    """A whole number."""

    default_error_messages = {"not-a-number": "A whole number is needed here."}

    def to_internal_value(self, data: Any) -> int:
        """Return the number; 1.5 and "7" are refused."""
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("not-a-number")
        return data


class Id(Whole):
    """The id of another thing."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1, max_value=BIGGEST_ID, **kwargs)


class YesNo(serializers.BooleanField):
    """true or false, nothing that looks like it."""

    default_error_messages = {"wrong-type": "true or false is needed here."}

    def to_internal_value(self, data: Any) -> bool:
        """Return the answer."""
        if not isinstance(data, bool):
            self.fail("wrong-type")
        return data


class Moment(serializers.DateTimeField):
    """A time as RFC 3339 writes it, with its offset; told in UTC."""

    default_error_messages = {
        "bad-time": "Write a time like 2026-05-01T10:00:00+01:00.",
        "naive-time": "The time lacks its offset: write 2026-05-01T10:00:00+01:00 or ...Z.",
        "year": f"The year lies outside {FIRST_YEAR} to {LAST_YEAR}.",
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(default_timezone=UTC, **kwargs)

    def to_internal_value(self, data: Any) -> datetime:
        """Return the moment in UTC."""
        if not isinstance(data, str) or not _TIME.fullmatch(data):
            looks_naive = isinstance(data, str) and _TIME.fullmatch(data[:40] + "Z")
            self.fail("naive-time" if looks_naive else "bad-time")
        try:
            moment = datetime.fromisoformat(data.upper()).astimezone(UTC)
        except (ValueError, OverflowError):
            self.fail("bad-time")
        if not FIRST_YEAR <= moment.year <= LAST_YEAR:
            self.fail("year")
        return moment


class Day(serializers.DateField):
    """A calendar date, YYYY-MM-DD."""

    default_error_messages = {
        "bad-date": "Write a date like 2026-05-01.",
        "year": f"The year lies outside {FIRST_YEAR} to {LAST_YEAR}.",
    }

    def to_internal_value(self, data: Any) -> date:
        """Return the date."""
        if not isinstance(data, str) or not _DATE.fullmatch(data):
            self.fail("bad-date")
        try:
            day = date.fromisoformat(data)
        except ValueError:
            self.fail("bad-date")
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            self.fail("year")
        return day


class Body(serializers.Serializer):
    """A request body: every member is known, unknown ones are refused by name."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Return the values. Raises ValidationError with everything that is wrong at once."""
        errors: dict[str, Any] = {}
        if isinstance(data, Mapping):
            for name in data:
                if name not in self.fields:
                    errors[name] = [ErrorDetail("This member is not known here.", code="unknown-member")]
        try:
            values = super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({**error.detail, **errors}) from error
        if errors:
            raise ValidationError(errors)
        return values


class Shown(serializers.ModelSerializer):
    """What is told of a row: the fields named, nothing else; times in UTC. Only for output."""

    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        **{
            model_field: Moment
            for model_field, field in serializers.ModelSerializer.serializer_field_mapping.items()
            if field is serializers.DateTimeField
        },
    }
