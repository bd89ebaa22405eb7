"""The head of a trike's logbook as a code that a person can type: on the service passport, checked years later.

24 characters of Crockford's base 32 (no I, L, O, U) in groups of four: 5 name the trike, 4 the entry, 13 hold the first
65 bits of the entry's hash, and 2 are check characters of a Reed-Solomon code over GF(32). Any one or two characters
typed wrongly, and any two swapped, are told from a true code for certain; other slips pass once in 1,024 and then meet
the hash.
"""

import re
from dataclasses import dataclass

from services.errors import Refusal

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_MEANT = str.maketrans({"O": "0", "I": "1", "L": "1"})  # what is read wrongly on paper
_BETWEEN = re.compile(r"[\s\-\u2010-\u2015_.]+")  # blanks and whatever a keyboard makes of a dash
_SCANNED = re.compile(r".*[?&]code=", re.DOTALL)  # a scanner types the address that the square holds

TRIKE_CHARACTERS, SEQ_CHARACTERS, HASH_CHARACTERS, CHECK_CHARACTERS = 5, 4, 13, 2
LENGTH = TRIKE_CHARACTERS + SEQ_CHARACTERS + HASH_CHARACTERS + CHECK_CHARACTERS
GROUP = 4
HASH_BITS = 5 * HASH_CHARACTERS
GROUP_WORDS = ("first", "second", "third", "fourth", "fifth", "sixth")


class BadCode(Refusal):
    """A code that was not printed by any passport: a slip of the hand, or of the eye."""

    code = "bad-code"


@dataclass(frozen=True)
class ChainHead:
    """What a code says: which trike, which entry was the last, and how its hash (hex) begins, in 65 bits."""

    trike: int
    seq: int
    hash_bits: int

    def fits(self, entry_hash: str) -> bool:
        """Whether the hash of an entry begins as the printed one did."""
        return _first_bits(entry_hash) == self.hash_bits


def chain_code(trike: int, seq: int, entry_hash: str) -> str:
    """Return the code of a chain's head, e.g. '0000 1000 ...' in six groups. Raises BadCode where a number is too big."""
    numbers = ((trike, TRIKE_CHARACTERS), (seq, SEQ_CHARACTERS), (_first_bits(entry_hash), HASH_CHARACTERS))
    digits = [digit for number, width in numbers for digit in _digits(number, width)]
    text = "".join(ALPHABET[digit] for digit in digits + _check_digits(digits))
    return "-".join(text[start : start + GROUP] for start in range(0, LENGTH, GROUP))


def read_code(typed: str) -> ChainHead:
    """Return what a code says, typed in any case, with or without dashes, with O for 0 and I or L for 1, or scanned.

    Raises BadCode: a character that no code has, too few or too many, or check characters that do not fit (naming the
    group to look at where one slip explains it).
    """
    text = _BETWEEN.sub("", _SCANNED.sub("", typed)).upper().translate(_MEANT)
    if foreign := next((character for character in text if character not in ALPHABET), ""):
        raise _bad(f"No code holds '{foreign}'.", "Compare it with the paper: a code has digits and capital letters.")
    if len(text) != LENGTH:
        raise _bad(
            f"A code has {LENGTH} characters in six groups of four; this has {len(text)}.",
            "Type all six groups, or scan the square.",
        )
    digits = [ALPHABET.index(character) for character in text]
    if any(remainders := _remainders(digits)):
        where = _slip(remainders)
        remedy = "Compare it with the paper." if where is None else f"Look at the {GROUP_WORDS[where // GROUP]} group."
        raise _bad("The code was not typed as it was printed.", remedy)
    ends = (TRIKE_CHARACTERS, TRIKE_CHARACTERS + SEQ_CHARACTERS, LENGTH - CHECK_CHARACTERS)
    return ChainHead(_number(digits[: ends[0]]), _number(digits[ends[0] : ends[1]]), _number(digits[ends[1] : ends[2]]))


def _bad(message: str, remedy: str) -> BadCode:
    return BadCode(message, field="code", remedy=remedy)


def _first_bits(entry_hash: str) -> int:
    return int(entry_hash, 16) >> (4 * len(entry_hash) - HASH_BITS)


def _digits(number: int, width: int) -> list[int]:
    if not 0 <= number < 32**width:
        raise _bad(f"{number} does not fit into a code.", "Quote the whole hash instead.")
    return [number >> 5 * place & 31 for place in reversed(range(width))]


def _number(digits: list[int]) -> int:
    number = 0
    for digit in digits:
        number = number << 5 | digit
    return number


# GF(32): polynomials over GF(2) modulo x^5 + x^2 + 1, whose root runs through all 31 values (the loop below shows it).
_POWER = [1]
for _ in range(30):
    _shifted = _POWER[-1] << 1
    _POWER.append(_shifted ^ 0b100101 if _shifted & 32 else _shifted)
_LOG = {value: power for power, value in enumerate(_POWER)}


def _times(left: int, right: int) -> int:
    return _POWER[(_LOG[left] + _LOG[right]) % 31] if left and right else 0


def _remainders(digits: list[int]) -> tuple[int, int]:
    """The word as a polynomial at 1 and at the field's generator: both 0 for a true code."""
    plain, weighed = 0, 0
    for digit in digits:
        plain ^= digit
        weighed = _times(weighed, 2) ^ digit
    return plain, weighed


def _check_digits(digits: list[int]) -> list[int]:
    """The two digits that make both remainders 0: a + b = p and 2a + b = w, so a = (p + w) / 3."""
    plain, weighed = _remainders([*digits, 0, 0])
    first = _times(plain ^ weighed, _POWER[-_LOG[3] % 31])
    return [first, plain ^ first]


def _slip(remainders: tuple[int, int]) -> int | None:
    """The one place where a single wrong character would leave these remainders; None where none would."""
    plain, weighed = remainders
    if not plain or not weighed:
        return None
    place = LENGTH - 1 - (_LOG[weighed] - _LOG[plain]) % 31
    return place if place >= 0 else None
