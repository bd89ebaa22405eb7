"""What a recorded ride tells, and what ride files say about the odometer."""

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.odometer import build_timeline
from services.rides import (
    CERTAIN_SHARE,
    RideRefused,
    RideTimesRunBack,
    RideTooFast,
    RideWithoutTimes,
    Track,
    checked_ride,
    ride_of_tracks,
    rides_floor,
    track_km,
    with_floor,
)

START_S = datetime(2026, 4, 20, 9, tzinfo=UTC).timestamp()
METRE = 1 / 111_320  # degrees of latitude, to a thousandth


def north(metres, seconds=None) -> Track:
    """A track over these metres north of a place in the sea, one point a second unless told."""
    metres = np.asarray(metres, dtype=float)
    seconds = START_S + (np.arange(len(metres)) if seconds is None else np.asarray(seconds, dtype=float))
    return Track(56 + metres * METRE, np.full(len(metres), 3.0), seconds)


def steady(metres: float, seconds: int) -> Track:
    return north(np.linspace(0, metres, seconds + 1))


def test_a_steady_ride_is_as_long_as_its_way():
    ride = ride_of_tracks([steady(5_000, 1_200)])
    assert ride.km == pytest.approx(5.0, rel=2e-3)
    assert ride.started_at == datetime(2026, 4, 20, 9, tzinfo=UTC)
    assert ride.ended_at == datetime(2026, 4, 20, 9, 20, tzinfo=UTC)


def test_wandering_while_standing_is_no_way():
    """Receivers at rest scatter by some metres (common practice, no source)."""
    rng = np.random.default_rng(5)
    track = Track(
        56 + rng.normal(0, 2, 3_600) * METRE, 3 + rng.normal(0, 2, 3_600) * 2 * METRE, START_S + np.arange(3_600.0)
    )
    assert track_km(track) < 0.1


def test_scatter_on_the_way_adds_less_than_three_in_a_hundred():
    rng = np.random.default_rng(7)
    way = steady(10_000, 2_000)
    scattered = Track(
        way.latitude + rng.normal(0, 1, 2_001) * METRE, way.longitude + rng.normal(0, 1, 2_001) * METRE, way.seconds
    )
    assert track_km(scattered) == pytest.approx(10.0, rel=0.03)


def test_a_jump_of_the_signal_and_back_is_left_out():
    metres = np.linspace(0, 3_000, 601)
    metres[300] += 900
    assert track_km(north(metres)) == pytest.approx(3.0, rel=0.01)


def test_a_hundred_kilometres_an_hour_are_believed_and_a_little_more_are_not():
    assert track_km(north(np.arange(0, 1_000, 27.7))) == pytest.approx(0.997, rel=0.001)
    assert track_km(north(np.arange(0, 1_000, 28.0))) == 0


def test_several_points_in_one_second_are_no_jump():
    assert track_km(north(np.arange(0, 1_000, 5), np.arange(200) // 2)) == pytest.approx(0.995, rel=0.01)


def test_a_stretch_of_kilometres_without_a_point_is_left_out():
    assert track_km(north([0, 50, 100, 30_100, 30_150, 30_200], [0, 10, 20, 3_600, 3_610, 3_620])) == pytest.approx(
        0.2, rel=0.01
    )


def test_tracks_are_not_joined():
    first, second = steady(1_000, 200), steady(1_000, 200)
    later = Track(second.latitude + 0.5, second.longitude, second.seconds + 7_200)
    ride = ride_of_tracks([first, later])
    assert ride.km == pytest.approx(2.0, rel=2e-3)
    assert (ride.ended_at - ride.started_at).total_seconds() == 7_400


def test_tracks_may_come_in_any_order():
    first, later = steady(1_000, 200), north(np.linspace(0, 1_000, 201), 900 + np.arange(201))
    assert ride_of_tracks([later, first]) == ride_of_tracks([first, later])


def test_a_clock_that_was_set_back_once_costs_one_step():
    seconds = np.arange(601.0)
    seconds[300:] -= 5
    assert track_km(north(np.linspace(0, 3_000, 601), seconds)) == pytest.approx(2.995, rel=2e-3)


def test_times_that_run_backwards_are_refused():
    with pytest.raises(RideTimesRunBack):
        ride_of_tracks([north(np.linspace(0, 3_000, 601), np.arange(601.0)[::-1])])


def test_a_planned_route_without_times_is_refused():
    way = steady(5_000, 1_200)
    with pytest.raises(RideWithoutTimes):
        ride_of_tracks([Track(way.latitude, way.longitude, np.full(1_201, math.nan))])


def test_single_points_without_a_time_are_passed_over():
    way = steady(5_000, 1_200)
    way.seconds[::7] = math.nan
    assert ride_of_tracks([way]).km == pytest.approx(5.0, rel=3e-3)


@pytest.mark.parametrize("tracks", [[], [north([])], [north([]), north([])]])
def test_a_file_without_a_track_is_refused(tracks):
    with pytest.raises(RideRefused, match="no recorded track"):
        ride_of_tracks(tracks)


def test_two_single_points_are_no_ride():
    with pytest.raises(RideRefused, match="no ride of 100 m"):
        ride_of_tracks([north([0]), north([5_000], [3_600])])


@pytest.mark.parametrize("km", [0.0, 0.05, -3.0, math.nan, math.inf])
def test_a_distance_that_is_none_is_refused(km):
    with pytest.raises(RideRefused):
        checked_ride(START_S, START_S + 3_600, km)


@pytest.mark.parametrize(("hours", "km"), [(1, 61), (1 / 3600, 0.2), (0, 0.2), (49, 100)])
def test_what_is_too_fast_or_too_long_for_a_trike_is_refused(hours, km):
    with pytest.raises(RideTooFast):
        checked_ride(START_S, START_S + hours * 3_600, km)


@pytest.mark.parametrize("started_s", [1e15, -1e15, math.nan])
def test_times_that_no_calendar_has_are_refused(started_s):
    with pytest.raises(RideRefused):
        checked_ride(started_s, started_s + 3_600, 10)


@given(st.lists(st.tuples(st.floats(-90, 90), st.floats(-180, 180), st.floats(0, 4e9)), min_size=2, max_size=40))
def test_whatever_the_points_the_distance_is_a_number_and_never_faster_than_believed(points):
    latitude, longitude, seconds = np.array(points).T
    km = track_km(Track(latitude, longitude, np.sort(seconds)))
    assert 0 <= km <= 2.001 * len(points)


# What files say about the odometer


def read(*rows: tuple[float, float]):
    """A timeline with a handover on day 100 at 0 km, read on these days, and 10 km a day expected after that."""
    line = build_timeline([day for day, _ in rows], [km for _, km in rows], (), zero_day=100.5)
    days = np.array([line.last_day, line.last_day + 1_000])
    from services.expected import with_expected

    return with_expected(line, days, line.last_km + np.array([0.0, 10_000.0]))


def test_several_rides_add_up_to_a_floor_less_what_satellites_err():
    floor = rides_floor(read((200.0, 1_000.0)), [(203.4, 203.5, 60.0), (201.4, 201.5, 40.0)])
    assert floor == [(201.5, 1_000 + 40 * CERTAIN_SHARE), (203.5, pytest.approx(1_000 + 100 * CERTAIN_SHARE))]


def test_rides_that_began_before_the_last_reading_are_in_it_already():
    assert rides_floor(read((200.0, 1_000.0)), [(199.9, 200.1, 60.0), (150.0, 150.2, 40.0)]) == []


def test_before_the_first_reading_rides_of_the_handover_day_count():
    assert rides_floor(read(), [(100.4, 100.45, 30.0), (99.9, 100.0, 20.0)]) == [(100.5, 30 * CERTAIN_SHARE)]


def test_rides_beyond_what_is_expected_raise_the_distance_and_are_told_as_an_estimate():
    raised = with_floor(read((200.0, 1_000.0)), [(201.4, 201.5, 90.0)])
    assert (raised.last_day, raised.last_km) == (201.5, pytest.approx(1_000 + 90 * CERTAIN_SHARE))
    assert raised.is_estimate(201.5)
    assert not raised.is_estimate(200.0)
    assert len(raised.ahead_days) == 0


def test_a_few_rides_among_many_that_were_not_sent_change_nothing():
    assert with_floor(read((200.0, 1_000.0)), [(250.0, 250.2, 30.0)]) is None


def test_without_rides_nothing_is_raised():
    assert with_floor(read((200.0, 1_000.0)), []) is None


def test_a_later_reading_wins_also_where_it_is_lower():
    rides = [(201.4, 201.5, 90.0)]
    assert with_floor(read((200.0, 1_000.0), (202.0, 1_050.0)), rides) is None
