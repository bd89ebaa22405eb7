"""The chain of the logbook: each entry carries the hash of its content and of the entry before it.

It proves that nothing before the head was changed, cut out or put in another order since the head was kept elsewhere.
It does not prove who wrote an entry, nor does it stop a person who can rewrite the whole chain.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Break:
    """The first entry at which a chain does not hold, and why."""

    seq: int
    why: str


def canonical_json(body: Mapping[str, Any]) -> bytes:
    """Return `body` in the one form that is hashed: sorted keys, no blanks, UTF-8. Raises ValueError for NaN."""
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


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
        if entry_hash(prev, body) != claimed:
            return Break(seq, "its content was changed after it was written")
        prev, expected = claimed, seq + 1
    return None
