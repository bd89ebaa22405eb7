"""Toe-in, kingpins and tie rods, hinge, spokes, tyres, torque bands, speed sensor, hub oil."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.errors import ImpossibleMeasurement
from services.kinds import judge
from services.kinds.alignment import rod_end_ok, toe_in_mm
from services.kinds.axle_and_torque_arm import minimum_failure_torque_nm, torque_verdict
from services.kinds.hub_oil import wants_cold_oil
from services.kinds.wheels_and_spokes import spoke_ok


def test_one_millimetre_toe_in_passes():  # trike maker manual B: 0 to 2 mm
    assert toe_in_mm(front_mm=741.0, rear_mm=742.0) == 1.0
    assert judge("toe_in_mm", 1.0).level == "ok"


def test_toe_out_never_passes():  # a trike text: "should never be toe out"
    assert toe_in_mm(front_mm=742.0, rear_mm=739.5) == -2.5
    assert judge("toe_in_mm", -2.5).level == "stop"


def test_five_eighths_of_an_inch_toe_out_stops_the_ride():  # forum case: cord visible after 84 miles
    assert toe_in_mm(5 / 8 * 25.4, 0) == -15.875
    assert judge("toe_in_mm", -15.875).words == "15.875 mm toe-out - set it before riding: 0 to 2 mm toe-in."


@pytest.mark.parametrize(("mm", "level"), [(0.0, "ok"), (2.0, "ok"), (2.1, "replace")])
def test_the_band_includes_both_ends(mm, level):
    assert judge("toe_in_mm", mm).level == level


def test_a_rim_distance_typed_as_toe_in_is_refused():
    with pytest.raises(ImpossibleMeasurement, match="between -40 and 40 mm"):
        judge("toe_in_mm", 742)


@pytest.mark.parametrize(("mm", "ok", "level"), [(7, False, "stop"), (8, True, "ok"), (12, True, "ok")])
def test_a_rod_end_is_screwed_in_at_least_eight_mm(mm, ok, level):  # trike maker manual D
    assert rod_end_ok(mm) is ok
    assert judge("rod_end_thread_mm", mm).level == level


@pytest.mark.parametrize("code", ["steering_play_mm", "hinge_play_mm"])
def test_play_in_steering_or_hinge_stops_the_ride(code):  # trike maker manual A: no play
    assert judge(code, 0).words == "No play."
    assert judge(code, 0.1).level == "ok"
    assert judge(code, 0.2).level == "stop"
    assert "do not ride" in judge(code, 0.2).words


@pytest.mark.parametrize(("tension", "ok"), [(79, False), (80, True), (81, True), (120, True), (121, False)])
def test_a_spoke_lies_within_a_fifth_of_its_sides_mean(tension, ok):  # e-bike forum text, side mean 100 kgf
    assert spoke_ok(tension, 100) is ok
    assert (judge("spoke_deviation_pct", tension - 100).level == "ok") is ok


@given(mean=st.floats(50, 1500), share=st.floats(0.5, 1.5), factor=st.floats(0.1, 10))
def test_spokes_are_judged_alike_in_any_unit(mean, share, factor):
    if abs(abs(share - 1) - 0.2) > 1e-6:
        assert spoke_ok(mean * share, mean) == spoke_ok(mean * share * factor, mean * factor)


def test_one_damaged_tyre_stops_the_ride():
    assert judge("tyres_damaged", 1).level == "stop"
    assert judge("tyres_damaged", 0).level == "ok"


@pytest.mark.parametrize(
    ("thread", "nm", "told"), [("M6", 9, "ok"), ("M6", 11, "over"), ("M6", 7.9, "under"), ("M4", 5, "ok")]
)
def test_torque_bands(thread, nm, told):  # trike maker manual A, table of page 25
    assert torque_verdict(thread, nm) == told


def test_a_thread_outside_the_table_is_not_guessed():
    with pytest.raises(KeyError):
        torque_verdict("M8", 20)


def test_a_joint_stands_half_as_much_again():  # ISO 4210-2:2014 clause 4.3.2
    assert minimum_failure_torque_nm(10) == 15


@pytest.mark.parametrize(
    ("gap", "rated", "level"), [(2.0, {}, "ok"), (2.1, {}, "watch"), (5.0, {"max_gap_mm": 5}, "ok")]
)
def test_the_sensor_sits_close_to_its_magnet(gap, rated, level):  # how-to text: at most 2 mm for a common mid-drive kit
    assert judge("sensor_gap_mm", gap, rated=rated).level == level


def test_winter_riders_below_minus_fifteen_get_seasonal_oil():  # one owner's report; design rule
    assert wants_cold_oil(-15.1)
    assert not wants_cold_oil(-15)
