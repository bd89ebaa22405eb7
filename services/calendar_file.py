"""A calendar file with one all-day event, as RFC 5545 wants it: CRLF, lines folded at 75 octets, text escaped."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

PRODUCT = "-//Larkfen Trikeworks//Service record//EN"
FOLD_AT = 75  # octets, the line break not counted (RFC 5545 section 3.1)


def event_file(
    *,
    uid: UUID,
    sequence: int,
    stamp: datetime,
    day: date,
    summary: str,
    description: str = "",
    cancelled: bool = False,
) -> bytes:
    """Return the file for one all-day event on `day`. `sequence` rises with every change of plan (RFC 5545 3.8.7.4).

    The event does not mark the day as busy. A cancelled one keeps its uid, so that calendars can strike it out.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:{PRODUCT}",
        "BEGIN:VEVENT",
        f"UID:{uid}",
        f"SEQUENCE:{sequence}",
        f"DTSTAMP:{stamp.astimezone(UTC):%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{day + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{escaped(summary)}",
        *([f"DESCRIPTION:{escaped(description)}"] if description else []),
        f"STATUS:{'CANCELLED' if cancelled else 'CONFIRMED'}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
        "END:VCALENDAR",
    ]
    return b"".join(folded(line) for line in lines)


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
