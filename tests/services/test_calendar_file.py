from datetime import UTC, date, datetime
from uuid import UUID

import icalendar
import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st

from services.calendar_file import Event, escaped, event_file, feed_file, folded

UID = UUID("0b9f7a4e-5a0f-4b3d-9d8c-2f1a6f3f9c11")
STAMP = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
plain = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=300)


def event(**changes) -> Event:
    return Event(**{"uid": UID, "sequence": 2, "stamp": STAMP, "day": date(2026, 5, 31), "summary": "Visit", **changes})


def file_of(**changes) -> bytes:
    return event_file(event(**changes))


@given(line=plain)
def test_no_line_is_longer_than_75_octets_and_unfolding_gives_the_text_back(line):
    octets = folded(line)
    assert all(len(row) <= 75 for row in octets.split(b"\r\n"))
    assert octets.replace(b"\r\n ", b"").removesuffix(b"\r\n").decode() == line


def test_a_line_of_200_letters_is_folded_twice():
    assert [len(row) for row in folded("x" * 200).split(b"\r\n")] == [
        75,
        75,
        52,
        0,
    ]  # a space begins each row after the first


@given(line=plain)
def test_folding_never_cuts_a_character(line):
    for row in folded(line).split(b"\r\n"):
        row.decode()  # raises where a character was cut


def test_the_marks_that_mean_something_in_a_calendar_are_escaped():
    # RFC 5545 section 3.3.11: ESCAPED-CHAR = ("\\" / "\;" / "\," / "\N" / "\n")
    assert escaped("a\\b;c,d\r\ne\rf\ng") == "a\\\\b\\;c\\,d\\ne\\nf\\ng"


def test_a_line_break_in_the_text_cannot_smuggle_in_a_property():
    octets = file_of(summary="Visit\r\nATTENDEE:mailto:else@example.org")
    assert b"\r\nATTENDEE" not in octets


def test_control_characters_are_left_out():
    assert escaped("a\x00b\x07c\td") == "abc\td"


def test_an_all_day_event_ends_on_the_day_after():
    octets = file_of()
    assert b"DTSTART;VALUE=DATE:20260531\r\n" in octets
    assert b"DTEND;VALUE=DATE:20260601\r\n" in octets


def test_the_event_carries_its_uid_sequence_and_stamp_in_utc():
    octets = file_of(description="Hub oil")
    for line in (f"UID:{UID}", "SEQUENCE:2", "DTSTAMP:20260501T100000Z", "DESCRIPTION:Hub oil", "STATUS:CONFIRMED"):
        assert f"\r\n{line}\r\n".encode() in octets


def test_a_cancelled_event_says_so_and_an_empty_description_is_left_out():
    octets = file_of(status="CANCELLED")
    assert b"\r\nSTATUS:CANCELLED\r\n" in octets
    assert b"DESCRIPTION" not in octets


def test_a_folded_line_of_the_standard_is_read_as_it_means():
    """RFC 5545 section 3.1: the example that may be folded in three ways."""
    whole = "DESCRIPTION:This is a long description that exists on a long line."
    for printed in (
        "DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.",
        "DESCRIPTION:This is a long description\r\n  that exists on a long line.",
    ):
        assert printed.replace("\r\n ", "") == whole
    assert folded(whole) == f"{whole}\r\n".encode()  # 66 octets need no fold


def test_the_text_of_the_standard_is_escaped_as_printed_there():
    r"""RFC 5545 section 3.3.11, example: Project XYZ Final Review\nConference Room - 3B\nCome Prepared."""
    meant = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped(meant) == "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."


def by_icalendar(octets: bytes) -> list[tuple]:
    found = icalendar.Calendar.from_ical(octets).walk("VEVENT")
    return [
        (str(e["UID"]), int(e["SEQUENCE"]), e.decoded("DTSTART"), str(e["SUMMARY"]), str(e["STATUS"])) for e in found
    ]


def by_vobject(octets: bytes) -> list[tuple]:
    found = vobject.readOne(octets.decode()).contents.get("vevent", [])
    return [
        (e.uid.value, int(e.sequence.value), e.dtstart.value, e.summary.value, e.contents["status"][0].value)
        for e in found
    ]


READERS = {"icalendar": by_icalendar, "vobject": by_vobject}


@pytest.mark.parametrize("reader", READERS)
def test_two_other_libraries_read_a_feed_as_it_was_meant(reader):
    summary = 'Fenrunner; oil, "hub" \\ brake: naïve ' + "длинно " * 20
    events = [event(summary=summary), event(uid=UUID(int=7), sequence=0, status="TENTATIVE")]
    assert READERS[reader](feed_file("Ours, yours; all", events)) == [
        (str(UID), 2, date(2026, 5, 31), summary, "CONFIRMED"),
        (str(UUID(int=7)), 0, date(2026, 5, 31), "Visit", "TENTATIVE"),
    ]


@given(summary=plain.filter(lambda text: text.strip() == text))
def test_whatever_is_written_another_library_reads_back(summary):
    assert by_icalendar(feed_file("Name", [event(summary=summary)]))[0][3] == summary


def test_a_feed_tells_its_name_and_when_to_look_again_and_invites_nobody():
    octets = feed_file("Ours, yours", [event()])
    for line in (
        "NAME:Ours\\, yours", "X-WR-CALNAME:Ours\\, yours", "REFRESH-INTERVAL;VALUE=DURATION:PT12H",
        "X-PUBLISHED-TTL:PT12H", "TRANSP:TRANSPARENT",
    ):  # fmt: skip
        assert f"\r\n{line}\r\n".encode() in octets
    assert b"METHOD" not in octets


@pytest.mark.parametrize("reader", READERS)
def test_a_feed_without_events_is_still_a_calendar(reader):
    octets = feed_file("Name", [])
    assert READERS[reader](octets) == []
    assert b"BEGIN:VTIMEZONE" in octets
