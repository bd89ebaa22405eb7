"""Serials and texts as the workshop keeps them: one canonical form, nothing invisible."""

import re
import unicodedata

from services.errors import Refusal

LONGEST_SERIAL = 40
_BIDI = set("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
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
    if any(_is_invisible(character) for character in text):
        raise BadSerial(
            "The serial holds characters that cannot be seen.", field="serial", remedy="Type it or scan it again."
        )
    serial = re.sub(r"\s+", " ", unicodedata.normalize("NFKC", text).strip()).upper()
    if not serial:
        raise BadSerial("The serial is empty.", field="serial", remedy="Scan or type it.")
    if len(serial) > LONGEST_SERIAL:
        raise BadSerial(
            f"A serial has at most {LONGEST_SERIAL} characters.", field="serial", remedy="Check what was scanned."
        )
    return serial


def _is_invisible(character: str) -> bool:
    return unicodedata.category(character) in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} and character not in {"\t"}


def natural_key(serial: str) -> tuple[tuple[int, int | str], ...]:
    """Return a sort key in which runs of digits count as numbers: A9 comes before A10."""
    return tuple((0, int(part)) if part.isdigit() else (1, part) for part in re.split(r"(\d+)", serial) if part)


def clean_text(text: str, limit: int) -> str:
    """Return `text` as kept: trimmed at the ends, otherwise as typed.

    Raises BadText: NUL or other control characters (line ends and tabs may stay), lone surrogates, direction
    overrides, or more than `limit` characters.
    """
    for character in text:
        category = unicodedata.category(character)
        if (category in {"Cc", "Cs"} and character not in _KEPT_CONTROLS) or character in _BIDI:
            raise BadText("The text holds characters that cannot be kept.", field="text", remedy="Type it again.")
    if len(text) > limit:
        raise BadText(f"The text has {len(text):,} characters; {limit:,} fit.", field="text", remedy="Shorten it.")
    return text.strip()


def fold_name(name: str) -> str:
    """Return a name for searching: accents and case removed, blanks single."""
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss").replace("ø", "o").replace("Ø", "O").replace("ł", "l"))
    bare = "".join(character for character in plain if not unicodedata.combining(character))
    return re.sub(r"\s+", " ", bare).strip().casefold()
