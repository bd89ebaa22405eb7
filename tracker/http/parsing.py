"""JSON bodies, read strictly: what one reader would take one way and another reader another way is refused."""

import json
import math
import re
from collections.abc import Iterator
from typing import IO, Any

from django.conf import settings
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.parsers import BaseParser, MultiPartParser

from tracker.http.problems import Fault, Problem, pointer

MAX_DEPTH = 32
MAX_MEMBERS = 500
# C0 controls but tab, line feed and carriage return; lone surrogates; noncharacters.
BAD_CHARACTERS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")


class _TwiceNamed(ValueError):
    """A name stands twice in one object."""


class _TooManyMembers(ValueError):
    """An object with too many names."""


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > MAX_MEMBERS:
        raise _TooManyMembers(f"An object has more than {MAX_MEMBERS} names.")
    names = dict(pairs)
    if len(names) != len(pairs):
        raise _TwiceNamed("A name stands twice in one object.")
    return names


def load_strict(data: bytes) -> Any:
    """Return the JSON value of `data`. NaN and Infinity are told per place, as values that are no numbers.

    Raises Problem: malformed, bad-text, invalid-values.
    """
    try:
        value = json.loads(data.decode("utf-8"), object_pairs_hook=_object)
    except UnicodeDecodeError as error:
        raise Problem("malformed", "The body is not UTF-8.") from error
    except RecursionError as error:
        raise Problem("malformed", f"The body is nested deeper than {MAX_DEPTH} levels.") from error
    except (_TwiceNamed, _TooManyMembers) as error:
        raise Problem("malformed", str(error)) from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise Problem("malformed", f"The body is not JSON: {error.msg.split('(')[0].strip()} at {where}.") from error
    except ValueError as error:
        raise Problem("malformed", "The body holds a number with too many digits.") from error
    _check(value)
    return value


def _check(value: Any) -> None:
    texts, numbers = [], []
    for place, item in _walk(value, ()):
        if isinstance(item, str) and BAD_CHARACTERS.search(item):
            texts.append(Fault(pointer(*place), "bad-text", "Characters that cannot be kept."))
        elif isinstance(item, float) and not math.isfinite(item):
            numbers.append(Fault(pointer(*place), "not-a-number", "This is not a finite number."))
    if texts:
        raise Problem("bad-text", "Take out control characters and broken characters.", faults=texts[:50])
    if numbers:
        raise Problem("invalid-values", "Every number must be finite.", faults=numbers[:50])


def _walk(value: Any, place: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Yield every value with its place, names of members as values of their own."""
    if len(place) >= MAX_DEPTH and isinstance(value, dict | list):
        raise Problem("malformed", f"The body is nested deeper than {MAX_DEPTH} levels.")
    yield place, value
    if isinstance(value, dict):
        for name, item in value.items():
            yield place, name
            yield from _walk(item, (*place, name))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _walk(item, (*place, index))


def read_limited(stream: IO[bytes], length: int, limit: int) -> bytes:
    """Return the body, or raise Problem too-large without reading more than `limit` bytes."""
    if length > limit:
        raise Problem("too-large", f"The body may have {limit:,} bytes.")
    data = stream.read(limit + 1)
    if len(data) > limit:
        raise Problem("too-large", f"The body may have {limit:,} bytes.")
    return data


def content_length(request: Any) -> int:
    """Return the announced length of the body, 0 where there is none."""
    text = request.META.get("CONTENT_LENGTH") or "0"
    return int(text) if text.isascii() and text.isdigit() else 0


class StrictJSONParser(BaseParser):
    """Parser of application/json: UTF-8 only, limits on bytes, depth and names, no name twice, no broken text."""

    media_type = "application/json"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: dict | None = None) -> Any:
        """Return the body; the raw bytes stay on the request for the Idempotency-Key. Raises Problem."""
        request = parser_context["request"]._request
        charset = request.content_params.get("charset", "utf-8")
        if charset.strip('"').lower() not in {"utf-8", "utf8"}:
            raise UnsupportedMediaType(request.content_type)
        request.raw_body = read_limited(stream, content_length(request), settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
        return load_strict(request.raw_body)


class UploadParser(MultiPartParser):
    """Parser of multipart/form-data for the addresses that take files. Raises Problem too-large."""

    limit = "UPLOAD_MAX_BYTES"  # the setting

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: dict | None = None) -> Any:
        """Return fields and files."""
        most = getattr(settings, self.limit)
        if content_length(parser_context["request"]) > most + 64 * 1024:
            raise Problem("too-large", f"A file may have {most:,} bytes.")
        return super().parse(stream, media_type=media_type, parser_context=parser_context)


class RideParser(UploadParser):
    """The same for ride files."""

    limit = "RIDE_MAX_BYTES"


class PhotoParser(UploadParser):
    """The same for photos."""

    limit = "PHOTO_MAX_BYTES"
