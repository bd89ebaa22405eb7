"""What passes between the outbox and a channel: a finished letter one way, what became of it the other way."""

import re
import uuid
from dataclasses import dataclass
from email.utils import parseaddr
from enum import StrEnum
from typing import Protocol

from django.conf import settings
from django.utils.crypto import salted_hmac

from tracker.models import Owner


@dataclass(frozen=True, kw_only=True)
class Letter:
    """A finished mail. `content` is the whole of it as it goes over the wire (RFC 5322, CRLF)."""

    message_id: str
    sender: str  # addresses alone, for the envelope
    recipient: str
    content: bytes


class Outcome(StrEnum):
    """What a channel can say for certain."""

    SENT = "sent"
    LATER = "later"  # surely not sent, worth another try: no connection, or the server said 4xx
    DEAD = "dead"  # surely not sent: the server knows no such address (5xx to the recipient)
    REFUSED = "refused"  # surely not sent: the server refuses this letter for good (5xx to anything else)
    UNKNOWN = "unknown"  # the line broke after the letter was on its way


@dataclass(frozen=True)
class Delivery:
    """What became of a letter; `note` is the server's answer or the reason, `file_name` where a folder kept it."""

    outcome: Outcome
    note: str = ""
    file_name: str = ""


class Channel(Protocol):
    """A way to the owner. `send` never raises for what a mail server may do: it says what happened."""

    def send(self, letter: Letter) -> Delivery:
        """Send one letter, waiting for the answer."""
        ...


# The name of a letter, and where it comes back to


def file_name_of(message_id: str) -> str:
    """Return under which name a folder keeps a letter: letters, digits and dashes of what stands before the @."""
    local = message_id.strip("<>").partition("@")[0]
    return "".join(char for char in local if char.isalnum() or char == "-")[:80] + ".eml"


def new_message_id() -> str:
    """Return a Message-ID that no other letter has (RFC 5322 section 3.6.4)."""
    return message_id_of(str(uuid.uuid4()))


def message_id_of(token: str) -> str:
    """Return the Message-ID whose random part is `token`."""
    return f"<{token}@{parseaddr(settings.DEFAULT_FROM_EMAIL)[1].partition('@')[2]}>"


def sender_of(message_id: str) -> str:
    """Return the envelope sender of a letter: an address of its own where BOUNCE_ADDRESS is set.

    The token is the random part of the Message-ID, so that a bounce tells which letter it speaks of.
    """
    local, at, domain = settings.BOUNCE_ADDRESS.partition("@")
    if not at:
        return parseaddr(settings.DEFAULT_FROM_EMAIL)[1]
    token = message_id.strip("<>").partition("@")[0].replace("-", "")
    return f"{local}+{token}@{domain}"


def token_in(address: str) -> str:
    """Return the token in an address that sender_of made, as in a Message-ID (with dashes), or an empty text."""
    local, at, domain = settings.BOUNCE_ADDRESS.lower().partition("@")
    if not at:
        return ""
    found = re.fullmatch(
        rf"{re.escape(local)}\+([0-9a-f]{{8}})([0-9a-f]{{4}})([0-9a-f]{{4}})([0-9a-f]{{4}})([0-9a-f]{{12}})@{re.escape(domain)}",
        address.lower(),
    )
    return "-".join(found.groups()) if found else ""


def address_mark(owner: Owner | None) -> str:
    """Return a mark of the address a letter goes to, so that a later bounce does not stop another one since given."""
    return salted_hmac("letter address", owner.email.lower()).hexdigest()[:16] if owner else ""
