"""FIT files: the distance the recorder itself summed up where it wrote one, else that of its records, else its track."""

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from fitdecode import CrcCheck, ErrorHandling, FitDataMessage, FitReader

from services.errors import Refusal
from services.language import say
from services.rides import Ride, RideRefused, Track, checked_ride, ride_of_tracks
from tracker.confined import FileTooLarge
from tracker.rides.limits import MAX_POINTS
from tracker.rides.refusals import SAVE_AGAIN, NotARideFile

FIT_EPOCH = 631_065_600  # 31 Dec 1989 00:00 UTC in seconds since 1970 (FIT protocol, date_time)
RELATIVE_BELOW = 0x10000000  # smaller values count since the device was switched on (FIT profile, date_time)
SEMICIRCLE = 180 / 2**31
RIDDEN = {None, "generic", "cycling", "e_biking", "transition", "fitness_equipment", "all"}


@dataclass
class _Told:
    """What the messages of a file tell. Times in seconds since 1970, distances in metres."""

    started: list[float] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    session_m: list[float] = field(default_factory=list)
    record_m: list[float] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    places: list[tuple[float, float, float]] = field(default_factory=list)


def read_fit(content: bytes) -> Ride:
    """Return the ride in a FIT file. Raises: NotARideFile, FileTooLarge, RideRefused."""
    told = _Told()
    try:
        for message in _messages(content):
            if message.name == "session":
                _take_session(told, message)
            elif message.name == "record":
                _take_record(told, message)
    except Refusal:
        raise
    except Exception:  # what a decoder does with hostile bytes nobody can list; the process it runs in is its own
        raise NotARideFile(
            say("The file is damaged: it is no whole FIT file."), field="file", remedy=say(SAVE_AGAIN)
        ) from None
    return _ride(told)


def _messages(content: bytes) -> Iterator[FitDataMessage]:
    reader = FitReader(
        io.BytesIO(content), processor=None, check_crc=CrcCheck.RAISE, error_handling=ErrorHandling.IGNORE
    )
    records = 0
    for frame in reader:
        if isinstance(frame, FitDataMessage):
            records += 1
            if records > MAX_POINTS:
                raise FileTooLarge(
                    say("The file has more than {number:,} records.", number=MAX_POINTS),
                    field="file",
                    remedy=say("Send one ride at a time."),
                )
            yield frame


def _take_session(told: _Told, message: FitDataMessage) -> None:
    sport = _value(message, "sport")
    if isinstance(sport, str) and sport not in RIDDEN:
        raise RideRefused(
            say("The file says that this was {sport}, not riding.", sport=sport.replace("_", " ")),
            field="file", remedy=say("Send the rides of this trike only."),
        )  # fmt: skip
    started, lasted = _moment(message, "start_time"), _number(message, "total_elapsed_time")
    metres = _number(message, "total_distance")
    if started is None or metres is None:
        return
    told.started.append(started)
    told.ended.append(started + max(lasted or 0.0, 0.0))
    told.session_m.append(metres)


def _take_record(told: _Told, message: FitDataMessage) -> None:
    at = _moment(message, "timestamp")
    if at is None:
        return
    told.times.append(at)
    metres = _number(message, "distance")
    if metres is not None:
        told.record_m.append(metres)
    latitude, longitude = _number(message, "position_lat"), _number(message, "position_long")
    if latitude is not None and longitude is not None:
        told.places.append((latitude * SEMICIRCLE, longitude * SEMICIRCLE, at))


def _ride(told: _Told) -> Ride:
    starts, ends = told.started + told.times, told.ended + told.times
    if sum(told.session_m) > 0:
        return checked_ride(min(starts), max(ends), sum(told.session_m) / 1000)
    if told.record_m and max(told.record_m) > 0:
        return checked_ride(min(starts), max(ends), _climbed(told.record_m) / 1000)
    columns = np.array(told.places, dtype=float).reshape(-1, 3).T
    return ride_of_tracks([Track(columns[0], columns[1], columns[2])])


def _climbed(metres: list[float]) -> float:
    """How far a counter ran that may begin anew, as after a pause of some recorders."""
    steps = np.diff(np.array([0.0, *metres]))
    return float(steps[steps > 0].sum())


def _value(message: FitDataMessage, name: str) -> Any:
    return message.get_value(name, fallback=None) if message.has_field(name) else None


def _number(message: FitDataMessage, name: str) -> float | None:
    value = _value(message, name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _moment(message: FitDataMessage, name: str) -> float | None:
    seconds = _number(message, name)
    return None if seconds is None or seconds < RELATIVE_BELOW else seconds + FIT_EPOCH
