"""The Idempotency-Key header: the same request twice takes effect once and is answered alike."""

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpResponse
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from services.errors import Refusal
from tracker.actions.transactions import Answer, KeyReused, StillRunning, run_once
from tracker.http.keys import actor_of
from tracker.http.problems import MEDIA_TYPE, Problem, details_of, respond

HEADER = "Idempotency-Key"
_KEY = re.compile(r'"([\x20\x21\x23-\x7e]{1,255})"|([\x21\x23-\x7e]{1,255})')


@dataclass(frozen=True)
class Made:
    """What a write answers with, before it becomes bytes."""

    data: Any
    status: int = 201
    headers: dict[str, str] = field(default_factory=dict)


def key_of(request: Request, *, required: bool = False) -> str | None:
    """Return the key of the request, without quotes. Raises Problem bad-idempotency-key."""
    text = request.headers.get(HEADER)
    if text is None and not required:
        return None
    match = _KEY.fullmatch((text or "").strip())
    if match is None:
        raise Problem(
            "bad-idempotency-key", "Send an Idempotency-Key of 1 to 255 printable characters, new per request."
        )
    return match[1] or match[2]


def answer_once(
    request: Request, now: Any, work: Callable[[], Made], *, members: Mapping[str, str], required: bool = False
) -> HttpResponse:
    """Do `work`, once where the request carries a key, and return its answer. Raises Problem: key-reused, in flight."""
    key = key_of(request, required=required)
    if key is None:
        return _response(_rendered(work()))
    try:
        answer, repeated = run_once(
            actor=actor_of(request), key=key, request_hash=fingerprint(request), now=now,
            call=lambda: _rendered(work()), when_refused=lambda error: _told(request, error, members),
        )  # fmt: skip
    except KeyReused as error:
        raise Problem("key-reused", "Use a new Idempotency-Key for a new request.") from error
    except StillRunning as error:
        wait = {"Retry-After": "1"}
        raise Problem("request-in-flight", "Wait a second and send the same request again.", headers=wait) from error
    response = _response(answer)
    if repeated:
        response["Idempotency-Replayed"] = "true"
    return response


def fingerprint(request: Request) -> str:
    """Return the SHA-256 of what makes two requests the same: method, address, condition, body."""
    parts = [request.method, request.get_full_path(), request.headers.get("If-Match", "")]
    hashed = hashlib.sha256("\n".join(parts).encode())
    hashed.update(getattr(request._request, "raw_body", b""))
    for name in sorted(request.FILES):
        hashed.update(f"{name}\n{request.FILES[name].name}\n".encode())
        for piece in request.FILES[name].chunks():
            hashed.update(piece)
        request.FILES[name].seek(0)
    if not hasattr(request._request, "raw_body"):
        hashed.update(repr(sorted((name, str(value)) for name, value in request.data.items())).encode())
    return hashed.hexdigest()


def _rendered(made: Made) -> Answer:
    body = JSONRenderer().render(made.data).decode() if made.status != 204 else ""
    return Answer(made.status, body, made.headers)


def _response(answer: Answer) -> HttpResponse:
    media_type = "application/json" if answer.status < 400 else MEDIA_TYPE
    return HttpResponse(answer.body, status=answer.status, content_type=media_type, headers=answer.headers)


def _told(request: Request, error: Exception, members: Mapping[str, str]) -> Answer | None:
    """The answer to a refusal, which is remembered; None for anything that may go better the next time."""
    if not isinstance(error, Refusal | Problem):
        return None
    response = respond(request._request, details_of(error, members))
    kept = {name: value for name, value in response.items() if name not in {"Content-Type", "Content-Length"}}
    return Answer(response.status_code, response.content.decode(), kept)
