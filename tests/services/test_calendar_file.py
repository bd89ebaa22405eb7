from datetime import UTC, date, datetime
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from services.calendar_file import escaped, event_file, folded

UID = UUID("0b9f7a4e-5a0f-4b3d-9d8c-2f1a6f3f9c11")
STAMP = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
plain = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=300)


def file_of(**changes) -> bytes:
    return event_file(
        **{"uid": UID, "sequence": 2, "stamp": STAMP, "day": date(2026, 5, 31), "summary": "Visit", **changes}
    )


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
    octets = file_of(cancelled=True)
    assert b"\r\nSTATUS:CANCELLED\r\n" in octets
    assert b"DESCRIPTION" not in octets
