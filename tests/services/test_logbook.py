import hashlib
import json
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.logbook import BadRecord, canonical_json, entry_hash, first_break, record_by


def chain(bodies):
    rows, prev = [], ""
    for seq, body in enumerate(bodies, 1):
        rows.append((seq, prev, body, entry_hash(prev, body)))
        prev = rows[-1][3]
    return rows


BODIES = [{"kind": "fitted", "n": n} for n in range(6)]


def test_a_whole_chain_holds():
    assert first_break(chain(BODIES)) is None


def test_the_hash_is_plain_sha_256_over_the_previous_hash_and_the_canonical_body():
    # computed here with the standard library's SHA-256 (FIPS 180-4), not with the function under test
    assert entry_hash("ab", {"b": 1, "a": "é"}) == hashlib.sha256('ab\n{"a":"é","b":1}'.encode()).hexdigest()


def test_the_order_of_keys_does_not_matter():
    assert canonical_json({"a": 1, "b": 2}) == canonical_json({"b": 2, "a": 1})


@pytest.mark.parametrize(
    "bad",
    [float("nan"), float("inf"), "a\x00b", "\ud800", {1: "x"}, Decimal("1.5"), b"x", [{"a": {1, 2}}], {"\x00": 1}],
)
def test_what_a_database_could_not_give_back_is_not_hashed(bad):
    with pytest.raises(BadRecord):
        canonical_json({"a": bad})


@pytest.mark.parametrize(
    ("written", "given_back"),
    [
        (25.0, 25),
        (1e16, 10_000_000_000_000_000),
        (-0.0, 0),
        ((1, 2), [1, 2]),
        ({"b": 1.0, "a": None}, {"a": None, "b": 1}),
    ],
)
def test_what_a_database_gives_back_in_another_shape_hashes_the_same(written, given_back):
    assert canonical_json({"a": written}) == canonical_json({"a": given_back})


def test_yes_and_one_are_not_the_same():
    assert canonical_json({"a": True}) != canonical_json({"a": 1})


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00")),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text("abc", max_size=3), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@given(json_values)
def test_the_canonical_form_survives_writing_and_reading(value):
    once = canonical_json({"a": value})
    assert canonical_json(json.loads(once)) == once


@pytest.mark.parametrize(
    ("attack", "seq"),
    [
        (lambda rows: [*rows[:2], (3, rows[2][1], {"kind": "fitted", "n": 99}, rows[2][3]), *rows[3:]], 3),
        (lambda rows: [*rows[:2], *rows[3:]], 4),
        (lambda rows: [rows[0], (2, rows[2][1], rows[2][2], rows[2][3]), (3, *rows[1][1:]), *rows[3:]], 2),
        (lambda rows: [*rows[:2], (3, rows[1][3], {"kind": "x"}, entry_hash(rows[1][3], {"kind": "x"})), *rows[3:]], 4),
    ],
    ids=["edited", "cut out", "swapped", "replaced with a fresh hash"],
)
def test_each_attack_is_named_at_its_first_entry(attack, seq):
    broken = first_break(attack(chain(BODIES)))
    assert broken.seq == seq
    assert broken.why


def test_an_entry_with_content_that_cannot_have_been_written_is_a_break():
    rows = chain(BODIES)
    rows[3] = (4, rows[3][1], {"kind": "a\x00b"}, rows[3][3])
    assert first_break(rows).seq == 4


def test_an_empty_chain_holds():
    assert first_break([]) is None


def test_work_is_entered_within_thirty_days():
    # EASA M.A.305(a), published rule (analogy): work of 1 Mar 2025 must be recorded by 31 Mar 2025
    assert record_by(date(2025, 3, 1)) == date(2025, 3, 31)
