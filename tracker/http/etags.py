"""Entity tags: the version of a row, in quotes; and the conditions on changes (RFC 9110, section 13; RFC 6585)."""

import re

from django.http import HttpRequest

from tracker.http.problems import Problem

_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e]*)"')
_LIST = re.compile(r'\s*(?:W/)?"[\x21\x23-\x7e]*"\s*(?:,\s*(?:W/)?"[\x21\x23-\x7e]*"\s*)*')


def etag_of(version: int) -> str:
    """Return the strong entity tag of a version."""
    return f'"{version}"'


def demanded_version(request: HttpRequest, present: int) -> int:
    """Return the version a change builds on. Raises Problem: precondition-required, precondition-failed, bad-if-match.

    The action compares once more under the row's lock: two clients with the same tag cannot both win.
    """
    if "If-Match" not in request.headers:
        raise Problem("precondition-required", "Send the ETag of what you read as If-Match.")
    return _matched(request.headers["If-Match"], present)


def offered_version(request: HttpRequest, present: int) -> int | None:
    """Like demanded_version where the condition is optional: None when there is none."""
    return _matched(request.headers["If-Match"], present) if "If-Match" in request.headers else None


def _matched(header: str, present: int) -> int:
    if header.strip() == "*":
        return present
    if not _LIST.fullmatch(header):
        raise Problem("bad-if-match", 'Send If-Match as "<version>" in double quotes.')
    strong = {tag for weak, tag in _TAG.findall(header) if not weak}
    if str(present) not in strong:
        raise Problem(
            "precondition-failed", "Somebody else changed it. Read it again, then send your change with the new ETag.",
            headers={"ETag": etag_of(present)},
        )  # fmt: skip
    return present
