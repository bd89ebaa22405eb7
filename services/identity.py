"""Serials and texts as the workshop keeps them: one canonical form, nothing invisible."""

import re
import unicodedata

from services.errors import Refusal
from services.language import say

LONGEST_SERIAL = 40
LONGEST_TYPED = 400  # full-width or composed letters shrink; nothing longer is a slip of the scanner
# Letters and marks that show nothing although they are no control characters: joiner, fillers, variation selectors.
_UNSEEN = set("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0\u2800") | {chr(code) for code in range(0xFE00, 0xFE10)}
_TRIMMED = " \t\r\n"
_LETTERS = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe"})  # letters without a decomposition
_TURNS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")  # they turn the direction of text (UAX 9)
_KEPT_CONTROLS = {"\n", "\t", "\r"}


class BadSerial(Refusal):
    """A serial that cannot be kept or found again."""

    code = "bad-serial"


class BadText(Refusal):
    """A text with characters that cannot be kept, or too long."""

    code = "bad-text"


def canonical_serial(text: str) -> str:
    """Return the form under which a serial is kept and found: NFKC, trimmed, blanks single, upper case.

    Raises BadSerial: empty, longer than 40 characters, or with control, zero-width or direction characters.
    """
    if not isinstance(text, str):
        raise BadSerial("A serial is text.", field="serial", remedy="Send it in quotes.")
    text = text.strip(_TRIMMED)
    if len(text) > LONGEST_TYPED:
        raise BadSerial(
            f"A serial has at most {LONGEST_SERIAL} characters.", field="serial", remedy="Check what was scanned."
        )
    if any(_is_invisible(character) for character in text):
        raise BadSerial(
            "The serial holds characters that cannot be seen.", field="serial", remedy="Type it or scan it again."
        )
    serial = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).upper())
    serial = re.sub(r"\s+", " ", serial).strip()
    if not serial:
        raise BadSerial("The serial is empty.", field="serial", remedy="Scan or type it.")
    if len(serial) > LONGEST_SERIAL:
        raise BadSerial(
            f"A serial has at most {LONGEST_SERIAL} characters.", field="serial", remedy="Check what was scanned."
        )
    return serial


def _is_invisible(character: str) -> bool:
    hidden = unicodedata.category(character) in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} and character != "\t"
    return hidden or character in _UNSEEN


def natural_key(serial: str) -> tuple[tuple[int, int | str], ...]:
    """Return a sort key in which runs of digits count as numbers: A9 comes before A10."""
    return tuple((0, int(part)) if part.isdecimal() else (1, part) for part in re.split(r"(\d+)", serial) if part)


def clean_text(text: str, limit: int) -> str:
    """Return `text` as kept: trimmed at the ends, otherwise as typed.

    Raises BadText: NUL or other control characters (line ends and tabs may stay), lone surrogates, or more than
    `limit` characters. Characters that turn the direction of text are kept: `visible` writes them out.
    """
    for character in text:
        if unicodedata.category(character) in {"Cc", "Cs"} and character not in _KEPT_CONTROLS:
            raise BadText(
                say("The text holds characters that cannot be kept."), field="text", remedy=say("Type it again.")
            )
    if len(text) > limit:
        raise BadText(
            say("The text has {number:,} characters; {limit:,} fit.", number=len(text), limit=limit), field="text",
            remedy=say("Shorten it."),
        )  # fmt: skip
    return text.strip()


def visible(text: str) -> str:
    """Return `text` as it is shown: characters that turn its direction are written out, as [U+202E]."""
    return _TURNS.sub(lambda turn: f"[U+{ord(turn.group()):04X}]", text)


def fold_name(name: str) -> str:
    """Return a name for searching: accents and case removed, blanks single."""
    plain = unicodedata.normalize("NFKD", name.casefold().translate(_LETTERS))
    bare = "".join(_folded(character) for character in plain)
    return re.sub(r"\s+", " ", bare).strip().casefold()


def _folded(character: str) -> str:
    """Marks go; what no database keeps (NUL, lone surrogates) and what cannot be seen counts as a blank."""
    if unicodedata.combining(character):
        return ""
    return " " if unicodedata.category(character).startswith("C") else character
