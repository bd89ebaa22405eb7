"""Bulletins in words: ranges as people type them, the scope in a sentence, words that soften marked where they stand."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.bulletin_words import (
    MOVE_WORDS,
    STATE_SHAPES,
    STATE_WORDS,
    listed,
    marked,
    ranges_typed,
    scope_words,
    serial_ranges,
)
from services.bulletins import STATES, BadScope, Scope, order_key
from services.identity import BadSerial, canonical_serial

serials = st.text(alphabet="AB019-", min_size=1, max_size=8)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("VN50-20-1001 to VN50-20-1050", (("VN50-20-1001", "VN50-20-1050"),)),  # a serial's own dashes do not part it
        ("a9 - a10", (("A9", "A10"),)),
        ("A1–A5\nB7", (("A1", "A5"), ("B7", "B7"))),
        ("A1..A5, A1 until A5", (("A1", "A5"),)),
        ("", ()),
    ],
)
def test_ranges_are_read_as_people_type_them(typed, meant):
    assert serial_ranges(typed) == meant


@pytest.mark.parametrize("typed", ["A10 to A9", "A1 to A2 to A3", "A1\n" * 3 + "\n".join(f"B{n}" for n in range(200))])
def test_what_is_no_range_is_refused_and_named(typed):
    with pytest.raises(BadScope) as refusal:
        serial_ranges(typed)
    assert refusal.value.field == "serials"


def test_an_open_end_is_refused():
    with pytest.raises(BadSerial):
        serial_ranges("A10.. ")


@given(st.lists(st.tuples(serials, serials), max_size=5, unique=True))
def test_ranges_written_out_are_read_back_the_same(pairs):
    ranges = tuple(tuple(sorted(map(canonical_serial, pair), key=order_key)) for pair in pairs)
    assert serial_ranges(ranges_typed(ranges)) == tuple(dict.fromkeys(ranges))


def test_a_list_is_read_between_commas_and_lines_each_once():
    assert listed(" VN-20B,VN-21A;\n VN-20B\n") == ("VN-20B", "VN-21A")


def test_the_scope_is_said_in_one_sentence():
    scope = Scope(
        frozenset({"7"}),
        (("A9", "A10"), ("B1", "B1")),
        frozenset({"X10", "X9"}),
        date(2020, 8, 1),
        None,
        frozenset({"2.2"}),
    )
    told = "Air shock; serials A9 to A10, B1; batches X9, X10; made from 1 Aug 2020 on; firmware 2.2."
    assert scope_words(["Air shock"], scope) == told
    assert scope_words(["Air shock", "Chain"], Scope(frozenset({"7", "8"}))) == "Air shock or Chain, every one of them."


@given(st.text(alphabet="minor rarely unlikely.Brake ", max_size=60))
def test_the_marked_pieces_are_the_text(text):
    assert "".join(piece for piece, _ in marked(text)) == text


def test_softening_words_are_marked_where_they_stand():  # Regulation (EU) 2023/988, Article 36(2)(c): "in rare situations"
    assert marked("The bolt breaks in rare situations. Stop.") == (
        ("The bolt breaks ", False), ("in rare situations", True), (". Stop.", False),
    )  # fmt: skip


def test_every_state_has_words_a_shape_and_a_move():
    assert set(STATES) == set(STATE_WORDS) == set(STATE_SHAPES) == set(MOVE_WORDS)
