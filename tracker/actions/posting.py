"""What passes between the outbox and a channel: a finished letter one way, what became of it the other way."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


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
