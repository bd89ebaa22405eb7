import hashlib

import pytest

from services.logbook import canonical_json, entry_hash, first_break


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


def test_what_is_no_number_is_not_hashed():
    with pytest.raises(ValueError, match="JSON"):
        canonical_json({"a": float("nan")})


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
