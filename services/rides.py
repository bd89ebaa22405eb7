"""What a recorded ride tells: when it began and ended and how far it went. And what ride files say about the odometer.

A satellite track is 1 to 3 % off the true way (common practice, no source): standing still it wanders, in narrow streets it
jumps, and chords cut corners. So the way is measured from place to place at least 15 m apart, and what cannot have been
ridden is left out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from services.errors import Refusal
from services.geodesic import A_M, FLATTENING, distances_m
from services.language import say
from services.odometer import Timeline, monotone

FASTEST_KM_H = 100.0  # between two points; faster is a jump of the signal, not a ride
STANDING_M = 15.0  # a receiver that stands still wanders that far (common practice, no source)
LONGEST_STEP_M = 2_000.0  # further between two points nobody knows how it was covered: a train, a ferry
AVERAGE_KM_H = 60.0  # no trike keeps that up (common practice, no source): a car or a train
SHORTEST_KM = 0.1
LONGEST = timedelta(hours=48)
CERTAIN_SHARE = 0.97  # of the distance of ride files; the rest may be error of the satellites


class RideRefused(Refusal):
    """The file holds no ride that can be counted."""

    code = "no-ride"


class RideWithoutTimes(RideRefused):
    """The track says where but not when: a planned route, not a ride."""

    code = "ride-without-times"


class RideTimesRunBack(RideRefused):
    """Many of the times run backwards: the recording is damaged."""

    code = "ride-times-run-back"


class RideTooFast(RideRefused):
    """Faster or longer than anybody rides a trike."""

    code = "ride-too-fast"


@dataclass(frozen=True)
class Ride:
    """One ride: two moments (UTC) and kilometres. The way itself is not kept."""

    started_at: datetime
    ended_at: datetime
    km: float


@dataclass(frozen=True)
class Track:
    """One unbroken recording: degrees, and seconds since 1970 (UTC), nan where a point has no time."""

    latitude: np.ndarray
    longitude: np.ndarray
    seconds: np.ndarray


def ride_of_tracks(tracks: Sequence[Track]) -> Ride:
    """Return the ride in some tracks, which are not joined. Raises RideRefused in one of its kinds."""
    if not any(len(track.seconds) for track in tracks):
        raise RideRefused(
            say("The file holds no recorded track."), field="file", remedy=say("Send the recording of a ride.")
        )
    timed = [_timed(track) for track in tracks]
    seconds = np.concatenate([track.seconds for track in timed])
    if len(seconds) < 2:
        raise RideWithoutTimes(
            say("The file says where but not when."),
            field="file",
            remedy=say("Send the recording of a ride, not a planned route."),
        )
    back = sum(int((np.diff(track.seconds) < 0).sum()) for track in timed)
    if back > 1 and back * 10 > len(seconds):
        raise RideTimesRunBack(
            say("The times in the file run backwards."),
            field="file",
            remedy=say("Save the ride again from where it was recorded."),
        )
    km = sum(track_km(track) for track in timed)
    return checked_ride(float(seconds.min()), float(seconds.max()), km)


def checked_ride(started_s: float, ended_s: float, km: float) -> Ride:
    """Return a ride from its ends (seconds since 1970) and kilometres. Raises RideRefused, RideTooFast."""
    if not (math.isfinite(km) and km >= SHORTEST_KM):
        raise RideRefused(
            say("The file holds no ride of {metres:.0f} m or more.", metres=SHORTEST_KM * 1000),
            field="file", remedy=say("Type what the odometer shows instead."),
        )  # fmt: skip
    try:
        started, ended = (datetime.fromtimestamp(seconds, UTC) for seconds in (started_s, ended_s))
    except (OverflowError, ValueError, OSError):
        raise RideRefused(
            say("The times in the file are none."),
            field="file",
            remedy=say("Save the ride again from where it was recorded."),
        ) from None
    lasted = ended - started
    if lasted > LONGEST or km > AVERAGE_KM_H * max(lasted.total_seconds(), 1.0) / 3600:
        raise RideTooFast(
            say("{km:,.0f} km in {hours:,.1f} h is no ride on a trike.", km=km, hours=lasted.total_seconds() / 3600),
            field="file", remedy=say("Send one ride at a time, and none by car or train."),
        )  # fmt: skip
    return Ride(started, ended, round(km, 3))


def track_km(track: Track) -> float:
    """Return the kilometres along one track with times, without jumps of the signal and wandering while standing."""
    if len(track.seconds) < 2:
        return 0.0
    step = distances_m(track.latitude[:-1], track.longitude[:-1], track.latitude[1:], track.longitude[1:])
    lasted = np.diff(track.seconds)
    speed = step / np.maximum(lasted, 1.0) * 3.6  # times are often whole seconds
    broken = (speed > FASTEST_KM_H) | (step > LONGEST_STEP_M) | (lasted < 0)
    return (
        sum(_stretch_m(track, part) for part in np.split(np.arange(len(track.seconds)), np.flatnonzero(broken) + 1))
        / 1e3
    )


def _stretch_m(track: Track, part: np.ndarray) -> float:
    """Metres from place to place, each at least STANDING_M from the one before."""
    latitude, longitude = track.latitude[part], track.longitude[part]
    kept = _apart(latitude, longitude)
    return float(distances_m(latitude[kept[:-1]], longitude[kept[:-1]], latitude[kept[1:]], longitude[kept[1:]]).sum())


def _apart(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    """Which points to measure between; the last one ends the way. Chords through the Earth do for 15 m."""
    lat, lon = np.radians(latitude), np.radians(longitude)
    eccentricity2 = FLATTENING * (2 - FLATTENING)
    radius = A_M / np.sqrt(1 - eccentricity2 * np.sin(lat) ** 2)
    across = radius * np.cos(lat)
    places = zip(
        (across * np.cos(lon)).tolist(), (across * np.sin(lon)).tolist(),
        (radius * (1 - eccentricity2) * np.sin(lat)).tolist(), strict=True,
    )  # fmt: skip
    kept, last = [0], next(places)
    for index, place in enumerate(places, 1):
        if math.dist(place, last) >= STANDING_M:
            kept.append(index)
            last = place
    return np.array([*kept, len(latitude) - 1])


def _timed(track: Track) -> Track:
    has = np.isfinite(track.seconds)
    return Track(track.latitude[has], track.longitude[has], track.seconds[has])


def rides_floor(timeline: Timeline, rides: Sequence[tuple[float, float, float]]) -> list[tuple[float, float]]:
    """Return (day, life km) the trike has run at least, by ride files: (start day, end day, km) in any order.

    Nobody sends every ride as a file, so that their sum since the display was last read is no reading but a floor: the trike
    has run at least that far, less what satellites may err. Rides that began before that reading are in it already, so that a
    later reading always wins. Before the first reading all rides since the handover day count.
    """
    since = timeline.last_day if len(timeline.days) > 1 else math.floor(timeline.last_day)
    counted = sorted((max(ended, timeline.last_day), km) for started, ended, km in rides if started >= since)
    sums = np.cumsum([km for _, km in counted]).tolist()
    return [(day, timeline.last_km + CERTAIN_SHARE * total) for (day, _), total in zip(counted, sums, strict=True)]


def with_floor(timeline: Timeline, rides: Sequence[tuple[float, float, float]]) -> Timeline | None:
    """Return the timeline raised by rides_floor where it lies below; None where it does not.

    `timeline` has what is expected after its last point. A sum of files that is less than that only says that not every ride
    came as a file. What it says beyond is an estimate, and what was expected falls away: it has to be reckoned anew.
    """
    floor = rides_floor(timeline, rides)
    expected = timeline.life_at([day for day, _ in floor])
    above = [(day, km, True) for (day, km), likely in zip(floor, expected.tolist(), strict=True) if km > likely]
    if not above:
        return None
    known = zip(timeline.days.tolist(), timeline.life_km.tolist(), timeline.estimated.tolist(), strict=True)
    return monotone([*known, *above])
