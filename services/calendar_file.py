"""Calendar files and feeds of all-day events, as RFC 5545 and 7986 want them: CRLF, lines folded at 75 octets, text escaped."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

PRODUCT = "-//Larkfen Trikeworks//Service record//EN"
FOLD_AT = 75  # octets, the line break not counted (RFC 5545 section 3.1)
REFRESH = "PT12H"  # how often a subscriber should look again
# A calendar without any component is none (RFC 5545 section 3.6): one that has no event yet names a zone.
NO_EVENT = [
    "BEGIN:VTIMEZONE", "TZID:Etc/UTC", "BEGIN:STANDARD", "DTSTART:19700101T000000", "TZOFFSETFROM:+0000",
    "TZOFFSETTO:+0000", "TZNAME:UTC", "END:STANDARD", "END:VTIMEZONE",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Event:
    """One all-day event on `day`. `sequence` rises with every change of plan (RFC 5545 3.8.7.4), `uid` never changes.

    stamp: when it was last changed (3.8.7.2). status: CONFIRMED, TENTATIVE for a proposal, CANCELLED to be struck out.
    """

    uid: UUID
    sequence: int
    stamp: datetime
    day: date
    summary: str
    description: str = ""
    status: str = "CONFIRMED"


def event_file(event: Event) -> bytes:
    """Return a file with one event, to be taken into a calendar once."""
    return _calendar(_event_lines(event))


def feed_file(name: str, events: Iterable[Event]) -> bytes:
    """Return a calendar to subscribe to, under its `name`: the events as they stand, asked for again every REFRESH.

    No METHOD: nobody is invited (RFC 5545 section 3.7.2). The name and the pause stand there twice, for calendars before
    RFC 7986 and after it (sections 5.1 and 5.7).
    """
    shown = escaped(name)
    head = [
        f"NAME:{shown}", f"X-WR-CALNAME:{shown}", f"REFRESH-INTERVAL;VALUE=DURATION:{REFRESH}",
        f"X-PUBLISHED-TTL:{REFRESH}",
    ]  # fmt: skip
    lines = [line for event in events for line in _event_lines(event)]
    return _calendar([*head, *(lines or NO_EVENT)])


def _calendar(lines: list[str]) -> bytes:
    whole = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", *lines, "END:VCALENDAR"]
    return b"".join(folded(line) for line in whole)


def _event_lines(event: Event) -> list[str]:
    """The event's lines. It takes a day without marking it as busy."""
    return [
        "BEGIN:VEVENT",
        f"UID:{event.uid}",
        f"SEQUENCE:{event.sequence}",
        f"DTSTAMP:{event.stamp.astimezone(UTC):%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{event.day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{event.day + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{escaped(event.summary)}",
        *([f"DESCRIPTION:{escaped(event.description)}"] if event.description else []),
        f"STATUS:{event.status}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def escaped(text: str) -> str:
    r"""Return `text` as a TEXT value: \ ; , and line breaks escaped (RFC 5545 3.3.11), other controls gone."""
    text = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\n", "\\n")
    return "".join(char for char in text if char == "\t" or char >= " ")


def folded(line: str) -> bytes:
    """Return a content line in UTF-8, folded at 75 octets without cutting a character, ended by CRLF."""
    rows: list[bytes] = [b""]
    for char in line:
        octets = char.encode()
        if len(rows[-1]) + len(octets) > FOLD_AT:
            rows.append(b" ")
        rows[-1] += octets
    return b"\r\n".join(rows) + b"\r\n"
