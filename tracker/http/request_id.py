"""One id per request: in the answer, in every log line, in every problem document."""

import re
import time
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse

log = structlog.get_logger(__name__)
HEADER = "X-Request-ID"
_GOOD = re.compile(r"[A-Za-z0-9._-]{8,64}")


class RequestId:
    """Take the caller's X-Request-ID if it is harmless, else make one; bind it to the log; send it back.

    The log names the route, never the path: a path may hold an owner's token.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request with its id bound."""
        given = request.headers.get(HEADER, "")
        request.request_id = given if _GOOD.fullmatch(given) else uuid.uuid4().hex
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request.request_id)
        started = time.monotonic()
        response = self.get_response(request)
        response[HEADER] = request.request_id
        route = request.resolver_match.route if request.resolver_match else "-"
        took = round((time.monotonic() - started) * 1000)
        log.info("request", method=request.method, route=route, status=response.status_code, ms=took)
        structlog.contextvars.clear_contextvars()
        return response
