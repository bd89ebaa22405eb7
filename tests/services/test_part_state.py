"""How a part stands."""

from datetime import date

import pytest

from services.part_state import (
    LETTERS,
    TITLES,
    PartState,
    full_words,
    near_date,
    short_words,
    state_of,
    state_without_part,
)

TODAY = date(2026, 5, 1)
MARCH, MAY, LATER = date(2026, 3, 3), date(2026, 5, 9), date(2027, 8, 2)


@pytest.mark.parametrize(
    ("due", "level", "state"),
    [
        ([], "", PartState("fine")),
        ([("ok", LATER)], "", PartState("fine", LATER)),
        ([("ok", LATER)], "ok", PartState("fine", LATER)),
        ([("ok", LATER), ("soon", MAY)], "", PartState("soon", MAY)),
        ([("soon", MAY), ("due", TODAY)], "", PartState("due", TODAY)),
        ([("due", TODAY), ("overdue", MARCH)], "", PartState("overdue", MARCH)),
        ([("overdue", date(2026, 4, 1)), ("overdue", MARCH)], "", PartState("overdue", MARCH)),
        ([("ok", LATER)], "watch", PartState("watch", None, "watch")),
        ([("soon", MAY)], "soon", PartState("soon", MAY, "soon")),
        ([], "stop", PartState("watch", None, "stop")),
    ],
)
def test_the_worst_counts(due, level, state):
    assert state_of(due, level) == state


def test_a_place_without_a_part_is_a_gap_only_where_a_serial_is_expected():
    assert state_without_part(serial_expected=True).code == "unrecorded"
    assert state_without_part(serial_expected=False).code == "empty"


@pytest.mark.parametrize(
    ("state", "short", "full"),
    [
        (PartState("overdue", MARCH), "overdue 3 Mar", "overdue since 3 Mar"),
        (PartState("overdue", date(2025, 3, 3)), "long overdue", "overdue since 3 Mar 2025"),
        (PartState("due", TODAY), "due today", "due today"),
        (PartState("soon", MAY), "due 9 May", "due 9 May"),
        (PartState("watch", None, "soon"), "replace soon", "measured, replace soon"),
        (PartState("watch", None, "stop"), "do not ride", "measured, do not ride"),
        (PartState("fine"), "fine", "fine"),
        (PartState("fine", LATER), "fine", "fine, next due 2 Aug 2027"),
        (PartState("unrecorded"), "not recorded", "not recorded"),
        (PartState("empty"), "no record kept", "no record kept"),
    ],
)
def test_a_state_in_words(state, short, full):
    assert (short_words(state, TODAY), full_words(state, TODAY)) == (short, full)


def test_the_year_is_said_where_it_could_be_doubted():
    assert near_date(date(2026, 12, 24), TODAY) == "24 Dec"
    assert near_date(date(2025, 3, 3), TODAY) == "3 Mar 2025"


def test_every_state_has_a_title_and_those_that_ask_for_something_a_letter_of_their_own():
    assert set(LETTERS) == set(TITLES)
    letters = [letter for letter in LETTERS.values() if letter]
    assert len(letters) == len(set(letters)) == 5
