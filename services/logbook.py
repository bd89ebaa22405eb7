"""The chain of the logbook: each entry carries the hash of its content and of the entry before it.

It proves that nothing before the head was changed, cut out or put in another order since the head was kept elsewhere.
It does not prove who wrote an entry, nor does it stop a person who can rewrite the whole chain.
"""

import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from services.errors import Refusal
from services.rebasing import add_days

RECORD_WITHIN_DAYS = 30  # EASA M.A.305(a), as an analogy: as soon as practicable, no later than this
_UNKEPT = re.compile("[\\x00\\ud800-\\udfff]")


@dataclass(frozen=True)
class Break:
    """The first entry at which a chain does not hold, and why."""

    seq: int
    why: str


class BadRecord(Refusal):
    """Content that no database would give back exactly as it was written."""

    code = "bad-record"


def record_by(work_on: date) -> date:
    """Return the last day on which work done on `work_on` may still be entered: 30 days later (EASA M.A.305(a), analogy)."""
    return add_days(work_on, RECORD_WITHIN_DAYS)


def canonical_json(body: Mapping[str, Any]) -> bytes:
    """Return `body` in the one form that is hashed: sorted keys, no blanks, UTF-8, whole floats as whole numbers.

    A database may give 25.0 back as 25 and 1e16 as 10000000000000000: both are hashed alike. Raises BadRecord for what
    JSON or a database cannot keep: NaN, infinity, keys that are no text, NUL, lone surrogates, other types.
    """
    text = json.dumps(_plain(body), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode()


def _plain(value: Any) -> Any:
    """The value as a database gives it back. Most are text, so text is asked for first."""
    if isinstance(value, str):
        if not _UNKEPT.search(value):
            return value
    elif value is None or isinstance(value, int):
        return value
    elif isinstance(value, float) and math.isfinite(value):
        return int(value) if value.is_integer() else value
    elif isinstance(value, Mapping) and all(isinstance(key, str) for key in value):
        return {_plain(key): _plain(item) for key, item in value.items()}
    elif isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    raise BadRecord(f"{value!r} cannot be kept in the logbook.", remedy="Write numbers, text, lists and yes or no.")


def entry_hash(prev_hash: str, body: Mapping[str, Any]) -> str:
    """Return the hex SHA-256 (FIPS 180-4) over the previous hash and the canonical body."""
    return hashlib.sha256(prev_hash.encode() + b"\n" + canonical_json(body)).hexdigest()


def first_break(entries: Iterable[tuple[int, str, Mapping[str, Any], str]]) -> Break | None:
    """Return the first break of a chain of (seq, previous hash, body, hash), oldest first; None when it holds."""
    prev, expected = "", 1
    for seq, claimed_prev, body, claimed in entries:
        if seq != expected:
            return Break(seq, f"entry {expected} is missing")
        if claimed_prev != prev:
            return Break(seq, "it does not follow the entry before it")
        if not _holds(prev, body, claimed):
            return Break(seq, "its content was changed after it was written")
        prev, expected = claimed, seq + 1
    return None


def _holds(prev: str, body: Mapping[str, Any], claimed: str) -> bool:
    try:
        return entry_hash(prev, body) == claimed
    except BadRecord:
        return False
