"""The typed code of a chain's head: what it keeps, which slips it tells, which it forgives."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.chain_code import ALPHABET, LENGTH, BadCode, ChainHead, chain_code, read_code

HASH = hashlib.sha256(b"an entry").hexdigest()
CODE = chain_code(310, 58, HASH)

hashes = st.binary(min_size=32, max_size=32).map(bytes.hex)
trikes = st.integers(1, 32**5 - 1)
seqs = st.integers(1, 32**4 - 1)
places = st.integers(0, LENGTH - 1)
characters = st.sampled_from(ALPHABET)


def bare(code: str) -> list[str]:
    return list(code.replace("-", ""))


def test_a_code_is_six_groups_of_four_without_letters_that_look_like_digits():
    groups = CODE.split("-")
    assert [len(group) for group in groups] == [4] * 6
    assert not set("ILOU") & set(CODE)


@given(trikes, seqs, hashes)
def test_a_code_gives_back_trike_entry_and_hash(trike, seq, entry_hash):
    head = read_code(chain_code(trike, seq, entry_hash))
    assert (head.trike, head.seq, head.fits(entry_hash)) == (trike, seq, True)


@given(st.tuples(trikes, seqs, hashes), st.tuples(trikes, seqs, hashes))
def test_two_heads_share_a_code_only_if_trike_entry_and_65_bits_of_the_hash_agree(one, other):
    same = one[:2] == other[:2] and int(one[2], 16) >> 191 == int(other[2], 16) >> 191
    assert (chain_code(*one) == chain_code(*other)) == same


@given(hashes, hashes)
def test_another_hash_does_not_fit_the_code(printed, found):
    head = read_code(chain_code(1, 1, printed))
    assert head.fits(found) == (int(printed, 16) >> 191 == int(found, 16) >> 191)


@pytest.mark.parametrize(
    "typed",
    [
        CODE.lower(), CODE.replace("-", ""), CODE.replace("-", " "), CODE.replace("-", "\u2013"), f"  {CODE}\n",
        CODE.replace("0", "O"), CODE.replace("0", "o"), CODE.replace("1", "I"), CODE.replace("1", "l"),
        f"https://desk.example.org/passport/?code={CODE}", f"http://127.0.0.1:8000/passport/?a=b&code={CODE.lower()}",
    ],
)  # fmt: skip
def test_a_code_is_read_however_it_is_typed(typed):
    assert read_code(typed) == ChainHead(310, 58, int(HASH, 16) >> 191)


@given(trikes, seqs, hashes, places, characters)
def test_one_wrong_character_is_always_told_and_its_group_named(trike, seq, entry_hash, place, character):
    typed = bare(chain_code(trike, seq, entry_hash))
    if typed[place] == character:
        return
    typed[place] = character
    with pytest.raises(BadCode) as refusal:
        read_code("".join(typed))
    assert ["first", "second", "third", "fourth", "fifth", "sixth"][place // 4] in refusal.value.remedy


@given(trikes, seqs, hashes, places, characters, places, characters)
def test_two_wrong_characters_are_always_told(trike, seq, entry_hash, place, character, other_place, other):
    right = bare(chain_code(trike, seq, entry_hash))
    typed = list(right)
    typed[place], typed[other_place] = character, other
    if typed == right:
        return
    with pytest.raises(BadCode):
        read_code("".join(typed))


@given(trikes, seqs, hashes, places, places)
def test_two_swapped_characters_are_always_told(trike, seq, entry_hash, place, other):
    typed = bare(chain_code(trike, seq, entry_hash))
    if typed[place] == typed[other]:
        return
    typed[place], typed[other] = typed[other], typed[place]
    with pytest.raises(BadCode):
        read_code("".join(typed))


def test_a_swap_of_whole_groups_is_told():
    groups = CODE.split("-")
    with pytest.raises(BadCode):
        read_code("-".join([groups[1], groups[0], *groups[2:]]))


@pytest.mark.parametrize("typed", ["", "-", CODE[:-1], CODE + "0", CODE * 2])
def test_a_code_too_short_or_too_long_says_how_many_characters_it_has(typed):
    with pytest.raises(BadCode) as refusal:
        read_code(typed)
    assert str(len(typed.replace("-", ""))) in refusal.value.message


@pytest.mark.parametrize("typed", [CODE[:-1] + "U", CODE[:-1] + "é", CODE[:-1] + "\x00", "<script>" + CODE, "☃"])
def test_a_character_that_no_code_has_is_named(typed):
    with pytest.raises(BadCode) as refusal:
        read_code(typed)
    assert "No code holds" in refusal.value.message
    assert refusal.value.field == "code"


def test_a_slip_that_no_single_character_explains_names_no_group():
    typed = bare(CODE)
    typed[0], typed[9] = ALPHABET[ALPHABET.index(typed[0]) ^ 1], ALPHABET[ALPHABET.index(typed[9]) ^ 1]
    with pytest.raises(BadCode) as refusal:
        read_code("".join(typed))
    assert refusal.value.remedy == "Compare it with the paper."


@pytest.mark.parametrize(("trike", "seq"), [(32**5, 1), (1, 32**4), (-1, 1)])
def test_numbers_too_big_for_a_code_are_refused(trike, seq):
    with pytest.raises(BadCode):
        chain_code(trike, seq, HASH)
