"""Chain wear against printed and calculated values; the limits, and the published figures that are wrong."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.errors import ImpossibleMeasurement
from services.kinds import judge
from services.kinds.chain_wear import (
    elongation_pct,
    gauge_interval,
    industrial_limit_pct,
    limit_length_mm,
    limit_pct,
    per_link_pct,
    resolution_pct,
    trike_pitches,
)

NINE = {"drivetrain": "derailleur", "speeds": 9}
ELEVEN = {"drivetrain": "derailleur", "speeds": 11}
HUB_GEAR = {"drivetrain": "hub_gear", "speeds": 14}
INCH = 25.4


@pytest.mark.parametrize(
    ("pitches", "length_mm", "expected", "within"),
    [
        (24, 12.0625 * INCH, 0.5208, 0.0005),  # encyclopedia text prints 0.5 % for 24 half-links at 12 1/16 in
        (24, 12.125 * INCH, 1.0417, 0.0005),  # workshop rule 1/8 in per 12 in; a question page prints "1/96, about 1 %"
        (20, 256.0, 0.7874, 0.0005),  # encyclopedia text (it prints 0.7: wrongly rounded)
        (20, 255.0, 0.3937, 0.0005),  # a cycling-tips page gives 255 mm as its limit; calculated
        (24, 305.5, 0.2297, 0.0005),  # an e-bike shop page calls this 0.75 %: wrong
        (63, 800.10, 0.0, 1e-9),  # chain-maker rig test: standard length 800.10 mm
        (63, 808.10, 0.9999, 0.001),  # same rig test: 8 mm is 1 %
        (24, 12.1 * INCH, 0.8333, 0.0005),  # a bicycle photo page prints 0.83 for 2/20 in over 12 in
    ],
)
def test_elongation_agrees_with_published_measurements(pitches, length_mm, expected, within):
    assert elongation_pct(length_mm, pitches) == pytest.approx(expected, abs=within)


def test_a_shop_pages_305_and_a_half_mm_is_no_worn_chain():
    assert judge("chain_elongation_pct", elongation_pct(305.5, 24), rated=NINE).level == "ok"


@pytest.mark.parametrize(
    ("limit", "length"), [(0.5, 306.324), (0.75, 307.086), (1.0, 307.848)]
)  # calculated, ISO 606 pitch
def test_length_at_the_limit_of_24_pitches(limit, length):
    assert limit_length_mm(24, limit) == pytest.approx(length, abs=0.001)


@pytest.mark.parametrize(
    ("growth", "expected"), [(0.075, 0.5906), (0.1, 0.7874)]
)  # a forum prints 0.6, a hub maker 0.8
def test_gauges_marked_per_link_are_read_in_per_cent(growth, expected):
    assert per_link_pct(growth) == pytest.approx(expected, abs=0.0005)


def test_five_mm_over_a_whole_chain_of_1370_mm():  # a forum prints 0.36 %
    assert elongation_pct(1375, 1370 / 12.7) == pytest.approx(0.365, abs=0.005)


@pytest.mark.parametrize(("pitches", "expected"), [(24, 0.164), (100, 0.0394)])  # calculated
def test_more_pitches_read_finer(pitches, expected):
    assert resolution_pct(0.5, pitches) == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize(("rated", "level"), [(ELEVEN, "replace"), (NINE, "ok"), (HUB_GEAR, "ok")])  # tool maker text
def test_a_sixteenth_in_twelve_inches_ends_only_an_eleven_speed_chain(rated, level):
    assert judge("chain_elongation_pct", 0.5208, rated=rated).level == level


def test_exactly_at_the_limit_is_replaced():  # tool maker text: "as the gauge fits"
    verdict = judge("chain_elongation_pct", 0.75, rated=NINE)
    assert (verdict.level, verdict.words, verdict.limit) == ("replace", "0.75 % - replace: limit 0.75 %.", 0.75)


def test_a_value_shown_as_the_limit_is_judged_as_the_limit():
    assert (
        judge("chain_elongation_pct", limit_length_mm(24, 0.75) / (24 * 12.7) * 100 - 100 - 1e-9, rated=NINE).level
        == "replace"
    )


def test_from_four_fifths_of_the_limit_it_is_soon():
    assert judge("chain_elongation_pct", 0.62, rated=NINE).words == "0.62 % - replace soon: limit 0.75 %."
    assert judge("chain_elongation_pct", 0.59, rated=NINE).level == "ok"


def test_where_a_rule_cannot_tell_the_value_from_the_limit_it_is_soon():
    assert judge("chain_elongation_pct", 0.59, rated=NINE, context={"pitches": 100}).level == "ok"
    verdict = judge("chain_elongation_pct", 0.59, rated=NINE, context={"pitches": 24})
    assert verdict.words == "0.59 % - replace soon: limit 0.75 %. Over 24 pitches a rule reads it to 0.16 %."


def test_the_part_types_own_limit_wins():
    assert limit_pct(ELEVEN | {"limit_pct": 0.4}) == 0.4


def test_a_chain_of_unknown_speeds_is_held_to_the_derailleur_limit():
    assert limit_pct({}) == 0.75


def test_a_go_no_go_gauge_tells_a_half_open_interval():  # own design rule: 0.5 fits, 0.75 does not
    assert gauge_interval(0.5, 0.75) == (0.5, 0.75)


def test_a_gauge_read_upside_down_is_refused():
    with pytest.raises(ValueError, match="smaller"):
        gauge_interval(0.75, 0.5)


def test_an_eighty_tooth_sprocket_allows_two_and_a_half_per_cent():  # power-transmission text citing ANSI B29.1: 200/N
    assert industrial_limit_pct(80) == 2.5


def test_a_trike_chain_of_3_8_m_is_2_6_bicycle_chains():  # trike maker manual D: "approximately 3.8 m"
    assert trike_pitches(3.8) == pytest.approx(299.2, abs=0.05)
    assert trike_pitches(3.8) / 114 == pytest.approx(2.6247, abs=0.001)


@pytest.mark.parametrize("value", [75.0, -5.0, float("nan"), float("inf"), True])
def test_an_impossible_elongation_is_refused_with_the_plausible_range(value):
    with pytest.raises(ImpossibleMeasurement, match=r"between -0\.3 and 3 %") as caught:
        judge("chain_elongation_pct", value, rated=NINE)
    assert caught.value.field == "value"


@given(pitches=st.integers(1, 500), limit=st.floats(0, 3))
def test_length_at_the_limit_elongates_to_the_limit(pitches, limit):
    assert elongation_pct(limit_length_mm(pitches, limit), pitches) == pytest.approx(limit, abs=1e-9)


@given(low=st.floats(-0.3, 3), high=st.floats(-0.3, 3))
def test_a_longer_chain_is_never_judged_better(low, high):
    order = ("ok", "soon", "replace")
    levels = [order.index(judge("chain_elongation_pct", value, rated=NINE).level) for value in sorted((low, high))]
    assert levels == sorted(levels)


@pytest.mark.parametrize(
    ("length_mm", "pitches"), [(16 * INCH, 24), (1.0625 * INCH, 2)]
)  # printed as limits, both wrong
def test_published_limits_no_chain_can_reach_are_refused(length_mm, pitches):
    with pytest.raises(ImpossibleMeasurement):
        judge("chain_elongation_pct", elongation_pct(length_mm, pitches), rated=NINE)
