"""GPX 1.0 and 1.1, read in one pass. No entity is ever expanded: a document type is refused where it begins."""

import io
from collections.abc import Iterator
from datetime import UTC, datetime
from xml.etree.ElementTree import Element, ParseError

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from services.language import say
from services.rides import Ride, Track, ride_of_tracks
from tracker.confined import FileTooLarge
from tracker.rides.limits import MAX_POINTS
from tracker.rides.refusals import SAVE_AGAIN, NotARideFile, UnsafeRideFile

Point = tuple[float, float, float]


def read_gpx(content: bytes) -> Ride:
    """Return the ride in a GPX file: its tracks, whose segments are not joined.

    Raises: NotARideFile, UnsafeRideFile, FileTooLarge, RideRefused.
    """
    try:
        return ride_of_tracks([_track(points) for points in _segments(content)])
    except DefusedXmlException:
        raise UnsafeRideFile(say("The file defines XML entities."), field="file", remedy=say(SAVE_AGAIN)) from None
    except (ParseError, LookupError, ValueError):  # LookupError: an encoding nobody knows
        raise NotARideFile(
            say("The file is damaged: it is no well-formed GPX."), field="file", remedy=say(SAVE_AGAIN)
        ) from None


def _segments(content: bytes) -> Iterator[list[Point]]:
    """Yield the points of each track segment."""
    points: list[Point] = []
    left, root = MAX_POINTS, None
    for event, element in iterparse(io.BytesIO(content), events=("start", "end"), forbid_dtd=True):
        name = element.tag.rpartition("}")[2]
        if root is None:
            root = element
            if name != "gpx":
                told = say("This is XML, but '{name}' and not GPX.", name=name[:20])
                raise NotARideFile(told, field="file", remedy=say(SAVE_AGAIN))
        if event == "start":
            continue
        if name == "trkpt":
            left -= 1
            points += _point(element)
        elif name == "trkseg":
            yield points
            points = []
        if name != "time":  # which its point still needs
            element.clear()
        if left < 0:
            raise FileTooLarge(
                say("The file has more than {number:,} points.", number=MAX_POINTS),
                field="file",
                remedy=say("Send one ride at a time."),
            )


def _point(element: Element) -> list[Point]:
    """The point, or nothing where it lies nowhere on Earth."""
    try:
        latitude, longitude = float(element.get("lat", "")), float(element.get("lon", ""))
    except ValueError:
        return []
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        return []
    told = next((child.text for child in element if child.tag.rpartition("}")[2] == "time"), None)
    return [(latitude, longitude, _seconds(told))]


def _seconds(text: str | None) -> float:
    """Seconds since 1970 of an xsd:dateTime; nan where there is none. Without an offset it is UTC (GPX 1.1 schema)."""
    try:
        moment = datetime.fromisoformat((text or "").strip())
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return float("nan")


def _track(points: list[Point]) -> Track:
    columns = np.array(points, dtype=float).reshape(-1, 3).T
    return Track(columns[0], columns[1], columns[2])
