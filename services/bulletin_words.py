"""Bulletins in words: severities and states with their shapes, ranges as people type them, the scope in one sentence.

Ranges are typed a line each, 'first to last'; a serial alone is a range of one. Days are dates, both ends included.
"""

import re
from collections.abc import Iterable, Sequence

from services.bulletins import BadScope, Scope, order_key, softening_words
from services.due_words import say_date
from services.identity import canonical_serial

# The shape beside the words, as desk.css draws it: a ring, a half-filled ring, a diamond, an octagon.
SEVERITY_SHAPES = {"information": "plain", "recommended": "soon", "mandatory": "due", "stop": "stop"}
STATE_WORDS = {
    "affected": "not told yet", "notified": "told", "booked": "booked", "corrected": "corrected",
    "inspected": "inspected, not affected", "scrapped": "scrapped", "refused": "refused", "unreachable": "not reached",
}  # fmt: skip
STATE_SHAPES = {
    "affected": "due", "notified": "soon", "booked": "soon", "corrected": "done", "inspected": "done", "scrapped": "plain",
    "refused": "stop", "unreachable": "stop",
}  # fmt: skip
# What a person presses to get a component into a state.
MOVE_WORDS = {
    "affected": "Open again", "notified": "Told", "booked": "Booked", "corrected": "Corrected",
    "inspected": "Inspected: not affected", "scrapped": "Scrapped", "refused": "Refused", "unreachable": "Not reached",
}  # fmt: skip
MOST_RANGES = 200

_BETWEEN = re.compile(r"\s+(?:to|until|-)\s+|\s*(?:–|—|\.\.+|…)\s*", re.IGNORECASE)


def serial_ranges(text: str) -> tuple[tuple[str, str], ...]:
    """Return (first, last) of each range typed: one a line or between commas, as 'A100 to A149', 'A100 - A149' or 'A100'.

    Raises BadScope: a line that is no range, a range that runs backwards, more than 200 of them. Raises BadSerial.
    """
    ranges = []
    for line in listed(text):
        ends = [canonical_serial(end) for end in _BETWEEN.split(line)]
        if len(ends) > 2:
            raise BadScope(
                f"'{line[:60]}' is no range of serials.", field="serials", remedy="One range a line: first to last."
            )
        first, last = ends[0], ends[-1]
        if order_key(first) > order_key(last):
            raise BadScope(
                f"The range {first} to {last} runs backwards.", field="serials", remedy="Give the lower serial first."
            )
        ranges.append((first, last))
    if len(ranges) > MOST_RANGES:
        raise BadScope(
            f"{len(ranges)} ranges; {MOST_RANGES} fit.", field="serials", remedy="Join ranges, or write a second one."
        )
    return tuple(dict.fromkeys(ranges))


def listed(text: str) -> tuple[str, ...]:
    """Return the values of a list as people type it: between commas, semicolons or line ends, each once, blanks trimmed."""
    return tuple(dict.fromkeys(part.strip() for part in re.split(r"[,;\n\r]+", text) if part.strip()))


def ranges_typed(ranges: Iterable[tuple[str, str]]) -> str:
    """Return ranges as `serial_ranges` reads them, one a line."""
    return "\n".join(_range(first, last) for first, last in ranges)


def scope_words(part_types: Sequence[str], scope: Scope) -> str:
    """Return what a bulletin names in one sentence; part_types: their names as people know them."""
    told = [" or ".join(part_types) or "no part type yet"]
    if scope.serials:
        told.append("serials " + ", ".join(_range(first, last) for first, last in scope.serials))
    if scope.batches:
        told.append(f"batch{'' if len(scope.batches) == 1 else 'es'} {', '.join(sorted(scope.batches, key=order_key))}")
    if scope.made_from or scope.made_until:
        told.append(_made(scope))
    if scope.firmware:
        told.append(f"firmware {', '.join(sorted(scope.firmware, key=order_key))}")
    return f"{'; '.join(told)}{'' if len(told) > 1 else ', every one of them'}."


def _range(first: str, last: str) -> str:
    return first if first == last else f"{first} to {last}"


def _made(scope: Scope) -> str:
    if scope.made_from and scope.made_until:
        return f"made {say_date(scope.made_from)} to {say_date(scope.made_until)}"
    return (
        f"made from {say_date(scope.made_from)} on" if scope.made_from else f"made until {say_date(scope.made_until)}"
    )


def marked(text: str) -> tuple[tuple[str, bool], ...]:
    """Return the text in pieces, each with whether it softens the hazard; joined they are the text."""
    pieces, at = [], 0
    for found in softening_words(text):
        pieces += [(text[at : found.start], False), (found.words, True)]
        at = found.end
    pieces.append((text[at:], False))
    return tuple(piece for piece in pieces if piece[0])
