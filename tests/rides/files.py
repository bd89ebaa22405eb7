"""Ride files made by the tests: nobody's real ways. Places lie in the North Sea."""

import struct
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta

from fitdecode.utils import compute_crc

START = datetime(2026, 4, 20, 9, 0, tzinfo=UTC)
LATITUDE, LONGITUDE = 56.0, 3.0
METRE_NORTH = 1 / 111_333.0  # degrees of latitude at 56 N, to a thousandth
FIT_EPOCH = datetime(1989, 12, 31, tzinfo=UTC)
Point = tuple[float, float, datetime | None]


def northward(metres: float, *, seconds: int, every: int = 1, start: datetime = START) -> list[Point]:
    """A straight way north of about `metres` in `seconds`, a point `every` so many seconds."""
    return [
        (LATITUDE + metres * at / seconds * METRE_NORTH, LONGITUDE, start + timedelta(seconds=at))
        for at in range(0, seconds + 1, every)
    ]


def gpx(
    *segments: Sequence[Point], version: str = "1.1", elevation: float | None = None, encoding: str = "UTF-8",
    before: str = "",
) -> bytes:  # fmt: skip
    """A GPX file with one track."""
    height = "" if elevation is None else f"<ele>{elevation}</ele>"
    drawn = "".join(f"<trkseg>{''.join(_trkpt(point, height) for point in points)}</trkseg>" for points in segments)
    space = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    text = (
        f'<?xml version="1.0" encoding="{encoding}"?>{before}<gpx xmlns="{space}" version="{version}" creator="tests">'
        f"<trk><name>Nowhere</name>{drawn}</trk></gpx>"
    )
    return text.encode(encoding)


def _trkpt(point: Point, height: str) -> str:
    latitude, longitude, at = point
    told = f"<time>{at.isoformat().replace('+00:00', 'Z')}</time>" if at else ""
    return f'<trkpt lat="{latitude:.8f}" lon="{longitude:.8f}">{height}{told}</trkpt>'


SESSION, RECORD, FILE_ID = 18, 20, 0
# field -> (number, size in bytes, base type, format) of the FIT profile
FIELDS = {
    "type": (0, 1, 0x00, "B"),
    "timestamp": (253, 4, 0x86, "I"),
    "start_time": (2, 4, 0x86, "I"),
    "sport": (5, 1, 0x00, "B"),
    "total_elapsed_time": (7, 4, 0x86, "I"),  # milliseconds
    "total_distance": (9, 4, 0x86, "I"),  # centimetres
    "position_lat": (0, 4, 0x85, "i"),  # semicircles
    "position_long": (1, 4, 0x85, "i"),
    "distance": (5, 4, 0x86, "I"),  # centimetres
}
Message = tuple[int, dict[str, int]]


def fit(messages: Iterable[Message]) -> bytes:
    """A FIT file of these messages, each defined before it where its fields changed."""
    body, defined = b"", {}
    parts = []
    for number, values in [(FILE_ID, {"type": 4}), *messages]:
        local = {FILE_ID: 0, SESSION: 1, RECORD: 2}[number]
        names = tuple(values)
        if defined.get(local) != names:
            defined[local] = names
            fields = b"".join(struct.pack("3B", *FIELDS[name][:3]) for name in names)
            parts.append(struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(names)) + fields)
        parts.append(struct.pack("<B" + "".join(FIELDS[name][3] for name in names), local, *values.values()))
    body = b"".join(parts)
    header = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    whole = header + struct.pack("<H", compute_crc(header)) + body
    return whole + struct.pack("<H", compute_crc(whole))


def fit_seconds(at: datetime) -> int:
    """A moment as FIT counts it."""
    return int((at - FIT_EPOCH).total_seconds())


def session(km: float, *, minutes: float = 60, start: datetime = START, sport: int = 2) -> Message:
    """The summary of a ride; sport 2 is cycling, 1 running (FIT profile)."""
    return SESSION, {
        "start_time": fit_seconds(start), "sport": sport, "total_elapsed_time": int(minutes * 60_000),
        "total_distance": round(km * 100_000),
    }  # fmt: skip


def records(points: Iterable[Point], *, metres_each: float | None = None) -> list[Message]:
    """One record a point, with its running distance where `metres_each` is given, else with its place."""
    told = []
    for index, (latitude, longitude, at) in enumerate(points):
        values = {"timestamp": fit_seconds(at)}
        if metres_each is None:
            values |= {
                "position_lat": round(latitude * 2**31 / 180), "position_long": round(longitude * 2**31 / 180),
            }  # fmt: skip
        else:
            values["distance"] = round(index * metres_each * 100)
        told.append((RECORD, values))
    return told
