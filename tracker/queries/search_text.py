"""What a text in the search field may mean: a serial, a name, a phone number, the code of a printed label."""

import re
import unicodedata
from dataclasses import dataclass

import phonenumbers
from django.conf import settings

from services.errors import Refusal
from services.identity import canonical_serial, fold_name

SHORTEST = 2
LONGEST = 120
LAST_DIGITS = 4  # as people say them: "the number ends in 0312"
_PHONE = re.compile(r"[\d\s+()./\-\u2010-\u2015]+")
_LABEL = re.compile(r"/t/([0-9A-Z]{1,26})/?$", re.IGNORECASE)  # what a scanner reads from a trike's label: its address


@dataclass(frozen=True)
class Asked:
    """The text as each part of the record keeps such things; '' or nothing where it cannot be one."""

    text: str
    serial: str  # canonical, as serials, plates, batches and job numbers are kept
    name: str  # folded
    number: str  # international form of a phone number
    endings: tuple[str, ...]  # what the phone number may end with
    label: str


def understood(text: str) -> Asked | None:
    """Return what `text` may mean; None when it is too short, or holds what nobody can type."""
    text = " ".join(text.split())[:LONGEST]
    if len(text) < SHORTEST or not text.isprintable():
        return None
    if label := _LABEL.search(text):
        return Asked(text, "", "", "", (), label.group(1).upper())
    number, endings = _phone_of(unicodedata.normalize("NFKC", text))
    return Asked(text, _serial_of(text), fold_name(text), number, endings, "")


def has_middle(text: str) -> bool:
    """Whether rows may be asked for `text` anywhere inside: three characters, two letters or digits side by side.

    Less makes no trigram, and PostgreSQL would read the whole index (its manual, F.35.4).
    """
    return len(text) >= 3 and re.search(r"[^\W_]{2}", text) is not None


def _serial_of(text: str) -> str:
    try:
        return canonical_serial(text)
    except Refusal:
        return ""


def _phone_of(text: str) -> tuple[str, tuple[str, ...]]:
    """Return (international form or '', possible last digits): a number of another country may come without its code."""
    digits = re.sub(r"\D", "", text)
    if len(digits) < LAST_DIGITS or not _PHONE.fullmatch(text):
        return "", ()
    endings = tuple(end for end in {digits, digits.lstrip("0")} if len(end) >= LAST_DIGITS)
    try:
        number = phonenumbers.parse(text, settings.WORKSHOP_PHONE_REGION)
    except phonenumbers.NumberParseException:
        return "", endings
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164), endings
