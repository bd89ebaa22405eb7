"""Errors as RFC 9457 problem details: built in one place, for everything under /api/, whatever raised it."""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import structlog
from django.core.exceptions import BadRequest, PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db import IntegrityError, InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.encoding import escape_uri_path
from rest_framework import exceptions
from rest_framework.utils.encoders import JSONEncoder

from services.errors import Refusal
from tracker.http.problem_kinds import BY_STATUS, HTTP_KINDS, Kind, kind_of_refusal

log = structlog.get_logger(__name__)

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = "5"
# Fields of refusals that are no members of a body: they point at the whole request.
NOT_MEMBERS = {"id", "card", "by", "version"}
NOTHING_HERE = "There is no such thing, or you may not see it. Check the address."


@dataclass(frozen=True)
class Fault:
    """One thing wrong at one place: `pointer` is a JSON Pointer (RFC 6901) into the body, '' for all of it."""

    pointer: str
    code: str
    message: str


@dataclass(frozen=True)
class Details:
    """A problem before it becomes bytes."""

    kind: Kind
    detail: str
    faults: tuple[Fault, ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)


class Problem(Exception):
    """A request that cannot be answered as asked, with all its answer needs. `code` is one of HTTP_KINDS."""

    def __init__(
        self, code: str, detail: str, *, faults: Iterable[Fault] = (), headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.details = Details(HTTP_KINDS[code], detail, tuple(faults), headers or {})


def pointer(*parts: str | int) -> str:
    """Return the JSON Pointer of `parts`: pointer('rows', 3) is '/rows/3'."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def respond(request: HttpRequest, details: Details) -> HttpResponse:
    """Return `details` as the answer to `request`."""
    body: dict[str, Any] = {
        "type": details.kind.uri,
        "title": details.kind.title,
        "status": details.kind.status,
        "detail": details.detail,
        "instance": escape_uri_path(request.path)[:500],
        "request_id": getattr(request, "request_id", ""),
    }
    if details.faults:
        body["errors"] = [asdict(fault) for fault in details.faults]
    if details.facts:
        body["facts"] = dict(details.facts)
    return HttpResponse(
        json.dumps(body, cls=JSONEncoder), status=details.kind.status, content_type=MEDIA_TYPE, headers=details.headers
    )


def answer(error: Exception, context: Mapping[str, Any]) -> HttpResponse:
    """Turn anything a REST view raised into a problem. This is REST_FRAMEWORK['EXCEPTION_HANDLER']."""
    view, request = context.get("view"), context["request"]
    return respond(request._request, details_of(error, getattr(view, "members", {})))


def details_of(error: Exception, members: Mapping[str, str] | None = None) -> Details:
    """Return what to tell about `error`. `members` renames fields of the trade to members of the request's body."""
    if isinstance(error, Problem):
        return error.details
    if isinstance(error, Refusal):
        return _of_refusal(error, members or {})
    if isinstance(error, exceptions.APIException | Http404 | PermissionDenied):
        return _of_framework(error)
    if isinstance(error, IntegrityError | OperationalError | InterfaceError):
        return _of_database(error)
    if isinstance(error, SuspiciousOperation | BadRequest):
        return _plain(
            "too-large" if isinstance(error, RequestDataTooBig) else "bad-request", "Send it in another form."
        )
    return _unexpected(error)


def _unexpected(error: Exception) -> Details:
    """What nobody foresaw: the log knows, the caller gets the request id."""
    log.exception("unexpected error", exc_info=error)
    return _plain("server-error", "Something broke on our side. Nothing was changed; tell us the request_id.")


def _plain(code: str, detail: str, **headers: str) -> Details:
    return Details(HTTP_KINDS[code], detail, headers={name.replace("_", "-"): value for name, value in headers.items()})


def _of_refusal(error: Refusal, members: Mapping[str, str]) -> Details:
    detail = f"{error.message} {error.remedy}".strip()
    facts = {name: value for name, value in error.facts.items() if name != "problems"}
    return Details(kind_of_refusal(type(error)), detail, tuple(_faults_of(error, members)), facts=facts)


def _faults_of(error: Refusal, members: Mapping[str, str]) -> Iterator[Fault]:
    """One fault per bad value: `problems` of a refusal that collected several, else its own field."""
    base = [members.get(error.field, error.field)] if error.field and error.field not in NOT_MEMBERS else []
    several = getattr(error, "problems", None)
    if several is None:
        yield Fault(pointer(*base), error.code, error.message)
        return
    for one in several:
        name, code, message = one if isinstance(one, tuple) else (one.name, one.code, one.message)
        at = name if isinstance(name, tuple) else (name,)
        yield Fault(pointer(*base, *(members.get(part, part) for part in at)), code, message)


def _of_framework(error: Exception) -> Details:
    """Errors that Django and its REST framework raise themselves."""
    headers: dict[str, str] = {}
    code, detail = _code_of(error), ""
    if code == "not-authenticated":
        headers["WWW_Authenticate"] = getattr(error, "auth_header", None) or "Api-Key"
    elif code == "too-many-requests":
        headers["Retry_After"] = str(int(error.wait or 1))
        detail = f"Try again in {headers['Retry_After']} s."
    elif code == "unsupported-media-type":
        headers["Accept"] = "application/json"
    return _plain(code, detail or HTTP_KINDS[code].meaning, **headers)


def _code_of(error: Exception) -> str:
    if isinstance(error, Http404):
        return "not-found"
    if isinstance(error, exceptions.AuthenticationFailed | exceptions.NotAuthenticated):
        return "not-authenticated"
    if isinstance(error, exceptions.PermissionDenied) and "CSRF" in str(error.detail):
        return "csrf-failed"
    return BY_STATUS.get(getattr(error, "status_code", 403), "bad-request")


def _of_database(error: Exception) -> Details:
    """A lost race (409), or a database that is busy, full or away (503)."""
    if isinstance(error, IntegrityError):
        return _plain("clash", "This clashes with what stands in the record now. Read it again, then decide.")
    log.error("database not available", error=str(error).splitlines()[:1])
    detail = "The record cannot be reached at the moment. Try again, with the same Idempotency-Key."
    return _plain("unavailable", detail, Retry_After=RETRY_AFTER_S)


class ProblemsUnderApi:
    """Whatever goes wrong under /api/ is a problem document: also what middleware and the address table answer."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Replace an error page under /api/ by the problem of its status."""
        response = self.get_response(request)
        if not is_api(request) or response.status_code < 400 or response.headers["Content-Type"] == MEDIA_TYPE:
            return response
        code = BY_STATUS.get(response.status_code, "server-error" if response.status_code >= 500 else "bad-request")
        problem = respond(request, _plain(code, HTTP_KINDS[code].meaning))
        for name in ("Allow", "Retry-After", "WWW-Authenticate"):
            if name in response.headers:
                problem[name] = response.headers[name]
        return problem

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Answer what a view under /api/ did not."""
        return respond(request, details_of(error)) if is_api(request) else None


def is_api(request: HttpRequest) -> bool:
    """Whether the request is for the REST API."""
    return request.path.startswith("/api/")


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """handler404: a problem under /api/, a page elsewhere."""
    return _either(request, "not-found", NOTHING_HERE, "404.html")


def server_error(request: HttpRequest) -> HttpResponse:
    """handler500: a problem under /api/, a page elsewhere."""
    return _either(request, "server-error", "Nothing was changed; tell us the request_id.", "500.html")


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """handler400: a problem under /api/, a page elsewhere."""
    return _either(request, "bad-request", "Check the address and headers of the request.", "400.html")


def permission_denied(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """handler403: a problem under /api/, a page elsewhere."""
    return _either(request, "not-allowed", "Ask somebody whose role includes this step.", "403.html")


def _either(request: HttpRequest, code: str, detail: str, template: str) -> HttpResponse:
    if is_api(request):
        return respond(request, _plain(code, detail))
    kind = HTTP_KINDS[code]
    names = [template, "404.html" if kind.status == 404 else "500.html"]
    facts = {"title": kind.title, "detail": detail, "request_id": getattr(request, "request_id", "")}
    return HttpResponse(render(None, names, facts).content, status=kind.status)
