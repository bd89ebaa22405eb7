"""The catalogue of what can go wrong over HTTP: one stable code, one status, one title each, explained at its address.

Kinds of the trade (a serial already fitted, a reading in the future) are not repeated here: every Refusal class is a
kind of its own, with its docstring as explanation.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from services.errors import Refusal
from tracker.actions.refusals import StaleVersion

BASE = "/api/problems/"
STATUS_OF = {"invalid": 422, "conflict": 409, "forbidden": 403, "missing": 404}
# Refusals about how a text is written, not about what it says: 400, as for any other body of the wrong form.
ABOUT_FORM = {"bad-serial": 400}


@dataclass(frozen=True)
class Kind:
    """One kind of problem. `title` never changes; `meaning` is for the page that explains it."""

    code: str
    status: int
    title: str
    meaning: str

    @property
    def uri(self) -> str:
        """The stable relative URI, which is also the address of its explanation."""
        return BASE + self.code


_HTTP = (
    Kind("malformed", 400, "The body cannot be read",
         "The body is not one JSON object: cut short, not UTF-8, with a byte order mark, a name twice in one object, "
         "deeper than 32 levels or with more than 500 names in one object. Send it again, corrected."),
    Kind("invalid-body", 400, "The body does not have the form this operation takes",
         "A member is missing, unknown, of the wrong type or in the wrong form (a time without an offset, say). "
         "`errors` names each by JSON Pointer."),
    Kind("bad-text", 400, "Text with characters that cannot be kept",
         "NUL, other control characters, lone surrogates and noncharacters are refused anywhere in a body."),
    Kind("bad-query", 400, "The query string cannot be used",
         "A parameter is unknown, stands twice, is empty or has a value of the wrong type. The OpenAPI document lists "
         "what each list takes."),
    Kind("bad-cursor", 400, "The cursor was not made by this list",
         "Cursors are signed and belong to one list and one order. Start again without `cursor`."),
    Kind("bad-request", 400, "The request cannot be understood",
         "Something outside the body is wrong: the host name, a header, the address."),
    Kind("bad-idempotency-key", 400, "The Idempotency-Key is missing or malformed",
         "1 to 255 printable ASCII characters, with or without double quotes around. Bulk requests must carry one."),
    Kind("bad-if-match", 400, "The If-Match header cannot be read",
         "A list of entity tags in double quotes, or `*` (RFC 9110, section 13.1.1)."),
    Kind("not-authenticated", 401, "Who are you?",
         "Send `Authorization: Api-Key <key>`, or log in. The key may be unknown or revoked; the answer is the same."),
    Kind("not-allowed", 403, "Your role does not allow this",
         "The thing exists and you may see it, but your role or the scopes of your key do not include this step."),
    Kind("csrf-failed", 403, "The request did not prove that it comes from our own page",
         "Requests with a session cookie that change something carry the CSRF token in `X-CSRFToken`."),
    Kind("not-found", 404, "There is nothing here for you",
         "There is no such thing, or you may not see it: the answer is the same."),
    Kind("method-not-allowed", 405, "This cannot be done here", "`Allow` lists the methods this address takes."),
    Kind("not-acceptable", 406, "Only JSON is spoken here", "Send `Accept: application/json` or none."),
    Kind("clash", 409, "Somebody else was faster",
         "The database refused the change because it clashes with what stands in the record now. Read it again."),
    Kind("request-in-flight", 409, "The first request with this key still runs",
         "Wait as long as `Retry-After` says and send it again, with the same Idempotency-Key."),
    Kind("precondition-failed", 412, "It has changed since you read it",
         "`If-Match` names another version than the present one. Read it again, look at what changed, decide anew."),
    Kind("too-large", 413, "The body is too large", "JSON bodies may have 1 MB, spreadsheets 5 MB, rides 8 MB, photos 12 MB."),
    Kind("unsupported-media-type", 415, "The body is of a type this operation does not take",
         "Send `application/json` in UTF-8; uploads are `multipart/form-data`. `Accept` in the answer says which."),
    Kind("invalid-values", 422, "Some values are not possible",
         "The form is right but a value is not: not a finite number, out of range, not in the list. `errors` names each."),
    Kind("key-reused", 422, "The Idempotency-Key belongs to another request",
         "The same key came with another body or address within 24 hours. Use a new key for a new request."),
    Kind("precondition-required", 428, "Say which version you are changing",
         "Read the thing, and send its `ETag` back as `If-Match`, so that nobody's change is overwritten unseen."),
    Kind("too-many-requests", 429, "Too many requests", "Wait as long as `Retry-After` says."),
    Kind("server-error", 500, "Something broke on our side",
         "Nothing was changed. It is in our log under the `request_id` of the answer."),
    Kind("unavailable", 503, "The record cannot be reached at the moment",
         "The database is busy or away. Nothing was changed. Send it again after `Retry-After`, with the same "
         "Idempotency-Key: it takes effect once."),
)  # fmt: skip
HTTP_KINDS = {kind.code: kind for kind in _HTTP}
BY_STATUS = {
    400: "bad-request", 401: "not-authenticated", 403: "not-allowed", 404: "not-found", 405: "method-not-allowed",
    406: "not-acceptable", 409: "clash", 412: "precondition-failed", 413: "too-large", 415: "unsupported-media-type",
    422: "invalid-values", 428: "precondition-required", 429: "too-many-requests", 503: "unavailable",
}  # fmt: skip


def kind_of_refusal(refusal: type[Refusal]) -> Kind:
    """Return the problem kind of a refusal class: its code, its status, its docstring in two parts."""
    if refusal.code in HTTP_KINDS:
        return HTTP_KINDS[refusal.code]
    words = (refusal.__doc__ or "").strip().split("\n\n", 1)
    title = " ".join(words[0].split()).rstrip(".")
    status = ABOUT_FORM.get(refusal.code) or STATUS_OF[getattr(refusal, "status", "invalid")]
    if issubclass(refusal, StaleVersion):  # over HTTP the version comes from If-Match
        status = 412
    return Kind(refusal.code, status, title, " ".join(words[-1].split()))


def all_kinds() -> dict[str, Kind]:
    """Return every documented kind by code, those of the trade included, in the order of their codes."""
    kinds = {refusal.code: kind_of_refusal(refusal) for refusal in reversed(list(_descendants(Refusal)))}
    return dict(sorted((kinds | HTTP_KINDS).items()))


def _descendants(parent: type[Refusal]) -> Iterator[type[Refusal]]:
    for child in parent.__subclasses__():
        if child.__module__.startswith(("services.", "tracker.")):
            yield child
            yield from _descendants(child)
