"""What was written by hand, with an owner's name, phone numbers and mail addresses left out of it.

For papers that pass to the next owner. Names are found as a person would read them: in any case, with or without
accents, each word for itself. Any mail address goes, and any row of digits long enough to be a phone number.
What nobody can know (a nickname, a neighbour) stays.
"""

import re
import unicodedata
from collections.abc import Iterable

from services.identity import fold_name

LEFT_OUT = "[left out]"
SHORTEST_NAME = 3  # letters
PARTICLES = frozenset(
    {"and", "dal", "das", "del", "della", "den", "der", "dos", "the", "und", "van", "von", "zum", "zur"}
)
PHONE_DIGITS = 9  # from here on a number that begins with 0 or + is no date (common practice, no source)
TAIL_DIGITS = 6  # of a known number: however its beginning was written
_PIECE = re.compile(
    r"(?P<mail>[\w.+-]+@[\w-]+(?:\.[\w-]+)+)"
    r"|(?P<digits>(?<![\w-])\+?\(?\d(?:[\s()/.-]{0,3}\d){5,})"
    r"|(?P<word>[^\W\d_]+)"
)
_TWICE = re.compile(r"\[left out\](?:[\s,.-]*\[left out\])+")


def without_people(text: str, names: Iterable[str] = (), phones: Iterable[str] = ()) -> str:
    """Return `text` with every mail address and phone number, and every word of `names`, written as [left out]."""
    told_of = {word for name in names for word in re.findall(r"[^\W\d_]+", fold_name(name))}
    words = {word for word in told_of - PARTICLES if len(word) >= SHORTEST_NAME}
    tails = {digits[-TAIL_DIGITS:] for digits in map(_digits, phones) if len(digits) >= TAIL_DIGITS}

    def told(piece: re.Match[str]) -> str:
        kind, found = piece.lastgroup, piece.group()
        hidden = kind == "mail" or (_is_phone(found, tails) if kind == "digits" else fold_name(found) in words)
        return LEFT_OUT if hidden else found

    return _TWICE.sub(LEFT_OUT, _PIECE.sub(told, unicodedata.normalize("NFC", text)))


def _digits(text: str) -> str:
    return re.sub(r"\D", "", text)


def _is_phone(text: str, tails: set[str]) -> bool:
    """Of a known number; or long, beginning with 0 or +, and without the points of decimals."""
    digits = _digits(text)
    if any(tail in digits for tail in tails):
        return True
    return text.lstrip("(")[0] in "0+" and "." not in text and len(digits) >= PHONE_DIGITS
