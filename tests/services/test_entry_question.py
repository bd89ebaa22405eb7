"""The question at the desk. Bounds are this project's own; the shares are measured in tests/scores/timeline.py."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from services.entry_question import asks, doubt_at_entry, entry_chances, with_doubt
from services.fleet_rates import SHIPPED
from services.levels import GRID, LENGTH_FROM
from services.rates import rate_of, start_rate
from services.readings import ACCEPTED, Verdict
from services.timeline_costs import MILE

ZERO = float(date(2025, 1, 1).toordinal())
DAYS, KM = [0, 100, 200, 240], [0, 600, 1800, 2400]
KNOWN = rate_of([ZERO + day for day in DAYS], KM, fleet=SHIPPED)
STRANGER = start_rate(ZERO, fleet=SHIPPED)


def doubt(value, unit="km", day=270, state=KNOWN, **more):
    return doubt_at_entry(value, unit, ZERO + day, owner=False, state=state, fleet=SHIPPED, **more)


def test_what_the_rider_was_expected_to_run_is_not_asked_about():
    found = doubt(2640)
    assert (found.ask, found.reason, found.meanings) == (False, "", ())
    assert found.low_km < 2640 < found.high_km


def test_the_band_of_a_known_rider_is_not_widened_by_what_strangers_taught():
    # services/levels.py: levels differ by how much is known of the rider; the first rows are those of strangers
    lengths = len(LENGTH_FROM) + 1
    wild = (tuple(0.5 * level for level in GRID),) * lengths + SHIPPED.levels[lengths:]
    plain, taught = (
        doubt_at_entry(2640, "km", ZERO + 270, owner=False, state=KNOWN, fleet=replace(SHIPPED, levels=levels))
        for levels in (SHIPPED.levels, wild)
    )
    assert KNOWN.stretches == 3
    assert (taught.low_km, taught.high_km) == (plain.low_km, plain.high_km)


@pytest.mark.parametrize(("typed", "code"), [(2640 * MILE, "km_as_miles"), (2640 / MILE, "miles_as_km")])
def test_a_slip_of_the_unit_is_asked_about_with_what_it_would_be(typed, code):
    found = doubt(round(typed))
    assert found.ask
    assert found.meanings[0].code == code
    assert found.meanings[0].km == pytest.approx(2640, abs=1)
    assert found.meanings[0].words[3:] in found.reason
    assert found.reason.startswith("Please read again: between ")


def test_a_digit_too_many_is_asked_about_even_without_another_meaning():
    found = doubt(987_654)
    assert found.ask
    assert found.p_wrong > 0.99
    assert found.reason.endswith("would be expected.")


def test_a_stranger_is_asked_for_the_unit_where_it_would_matter():
    # nobody knows yet whether this rider is a slow or a keen one
    found = doubt(3500, day=250, state=STRANGER, first=True)
    assert found.reason == "Does the display show 3,500 km, and in this unit? As kilometres it would be 2,175 km."


def test_a_few_kilometres_at_the_handover_are_not_worth_a_question():
    assert not doubt(18, day=0, state=STRANGER, first=True).ask


def test_a_display_in_miles_is_asked_about_in_miles():
    found = doubt(2640, "mi")
    assert found.ask
    assert " mi " in found.reason


def test_a_swapped_display_is_judged_with_what_it_is_behind():
    assert not doubt(280, offset=2400).ask
    assert doubt(280).ask


def test_the_chances_of_a_reading_add_up_to_one():
    chances = entry_chances(
        np.array([2640.0, 4200.0]), np.array([ZERO + 270, ZERO + 270]), np.array([True, False]),
        state=KNOWN, offset=np.zeros(2), first=np.zeros(2, bool), fleet=SHIPPED,
    )  # fmt: skip
    assert chances.sum(axis=0) == pytest.approx([1, 1])
    assert asks(np.array([2640.0, 4200.0]), chances).tolist() == [False, True]


def test_a_reading_dated_before_the_last_one_counts_as_of_that_day():
    assert doubt(2400, day=230).p_wrong == pytest.approx(doubt(2400, day=240).p_wrong)


def test_an_accepted_reading_in_doubt_is_accepted_with_a_question():
    asked = with_doubt(ACCEPTED, doubt(4200))
    assert (asked.state, asked.code) == ("accepted", "please-confirm")
    assert [(p.code, p.km) for p in asked.proposals][0] == ("km_as_miles", pytest.approx(2609.759))
    assert asked.reason.startswith("Please read again")


def test_no_doubt_adds_nothing_and_a_suspect_reading_stays_as_judged():
    suspect = Verdict("suspect", "very-fast", "words")
    assert with_doubt(ACCEPTED, doubt(2640)) is ACCEPTED
    assert with_doubt(suspect, doubt(4200)) is suspect
