"""What the digits may have meant. Slips of the hand are counted by hand."""

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.fleet_rates import SHIPPED
from services.reading_meanings import Neighbour, Rider, digit_slips, meanings
from tests.simulator.readings import mistyped

SUMMER = float(date(2025, 8, 29).toordinal())
RIDER = Rider(math.log(3100), 0.2)
BEFORE, AFTER = Neighbour(SUMMER, 2400), Neighbour(SUMMER + 90, 2900)


def meant(value, unit="km", around=(BEFORE, AFTER), **more):
    return meanings(value, unit, SUMMER + 30, False, around, RIDER, SHIPPED, **more)


def test_two_digits_have_these_slips_behind_them():
    slips = {kind: {number for number, _ in each} for kind, each in digit_slips("11").items()}
    assert slips["swapped"] == set()
    assert slips["wrong"] == {10, 12, 13, 14, 15, 16, 17, 18, 19, 21, 31, 41, 51, 61, 71, 81, 91}
    assert slips["doubled"] == {1}
    assert slips["lost"] == {110, 111, 112, 113, 114, 115, 116, 117, 118, 119, 101, 121, 131, 141, 151, 161, 171, 181,
                             191, 211, 311, 411, 511, 611, 711, 811, 911}  # fmt: skip


def test_a_single_digit_cannot_be_swapped_or_doubled():
    slips = digit_slips("5")
    assert (slips["swapped"], slips["doubled"]) == ([], [])
    assert (0, 1 / 9) in slips["wrong"]


@settings(deadline=None)
@given(st.integers(10, 99_999), st.sampled_from(["swapped", "wrong", "lost", "doubled"]), st.integers(0, 999))
def test_whatever_slip_was_made_the_true_number_is_among_those_behind_it(true, kind, seed):
    typed = mistyped(str(true), kind, np.random.default_rng(seed))
    if int(typed) != true and typed[0] != "0":
        assert true in [number for number, _ in digit_slips(typed)[kind]]


@pytest.mark.parametrize(
    ("typed", "code", "km", "words"),
    [
        (1620, "miles_as_km", 2607.137, "as miles it would be 2,607 km"),
        (4200, "km_as_miles", 2609.759, "as kilometres it would be 2,610 km"),
        (26_620, "doubled", 2620, "without the digit typed twice it would be 2,620 km"),
        (9620, "wrong", 2620, "with one digit wrong it would be 2,620 km"),
    ],
)
def test_the_meaning_that_fits_best_comes_first(typed, code, km, words):
    found = meant(typed)
    assert found[0].code == code
    assert words in [meaning.words for meaning in found if meaning.km == pytest.approx(km, abs=0.001)]


def test_neighbours_swapped_are_found():
    assert ("swapped", 2640) in [(meaning.code, meaning.km) for meaning in meant(6240)]


def test_a_lost_digit_is_found_by_its_neighbours():
    assert {m.code for m in meant(260)} == {"lost"}
    assert all(2400 <= meaning.km <= 2900 for meaning in meant(260))


def test_a_value_that_fits_as_typed_has_no_other_meaning():
    assert meant(2640) == ()


def test_no_more_than_three_meanings_and_the_likeliest_first():
    found = meant(24_400)
    assert 1 <= len(found) <= 3
    assert [m.chance for m in found] == sorted((m.chance for m in found), reverse=True)
    assert sum(m.chance for m in found) <= 1


def test_digits_slip_in_the_unit_they_were_typed_in():
    # 16,220 mi with the 2 typed twice is 1,620 mi = 2,607 km
    found = meant(16_220, "mi")
    assert (found[0].code, found[0].km) == ("doubled", pytest.approx(1620 * 1.609344, abs=0.001))
    assert "1,620 mi" in found[0].words


def test_a_swapped_display_is_compared_in_the_count_of_its_neighbours():
    # 200 km on the new display is 2,600 km of life; typed with a digit twice
    assert meant(2200, offset=2400)[0].km in {200, 220}


def test_with_nothing_after_it_the_last_reading_alone_judges():
    assert meant(4200, around=(BEFORE,))[0].code == "km_as_miles"


def test_test_rides_before_the_handover_are_no_slip():
    handover = Neighbour(SUMMER + 30, 0, handover=True)
    assert meant(18, around=(handover,)) == ()
