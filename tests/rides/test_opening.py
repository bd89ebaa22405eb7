"""Ride files, good ones and bad ones, read by what they contain and within limits."""

import json
import os
import random
import subprocess
import sys
from contextlib import contextmanager, suppress
from datetime import timedelta

import pytest

from services.rides import RideRefused, RideTimesRunBack, RideTooFast, RideWithoutTimes
from tests.rides.files import METRE_NORTH, START, fit, fit_seconds, gpx, northward, records, session
from tracker import confined
from tracker.confined import EmptyFile, FileRefused, FileTooLarge
from tracker.rides import child, fit_file, limits
from tracker.rides.child import read_ride
from tracker.rides.opening import check_ride_size, open_ride
from tracker.rides.refusals import NotARideFile, RideReaderBusy, UnsafeRideFile

WAY = northward(6_000, seconds=1_800, every=3)


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_gpx_of_both_versions_is_read(version):
    ride = open_ride(gpx(WAY, version=version))
    assert ride.km == pytest.approx(6.0, rel=1e-3)
    assert (ride.started_at, ride.ended_at) == (START, START + timedelta(minutes=30))


@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16", "ISO-8859-1"])
def test_each_usual_encoding_is_read(encoding):
    assert open_ride(gpx(WAY, encoding=encoding)).km == pytest.approx(6.0, rel=1e-3)


def test_a_byte_order_mark_before_utf8_does_no_harm():
    assert open_ride(b"\xef\xbb\xbf" + gpx(WAY)).km == pytest.approx(6.0, rel=1e-3)


def test_two_segments_are_not_joined():
    later = [(lat + 1_500 * METRE_NORTH, lon, at + timedelta(hours=1)) for lat, lon, at in WAY]
    ride = open_ride(gpx(WAY, later))
    assert ride.km == pytest.approx(12.0, rel=1e-3)
    assert ride.ended_at == START + timedelta(minutes=90)


def test_heights_below_the_sea_do_no_harm():
    assert open_ride(gpx(WAY, elevation=-12.5)).km == pytest.approx(6.0, rel=1e-3)


def test_a_moment_with_an_offset_or_without_one_is_told_in_utc():
    told = gpx(WAY).replace(b"09:00:00Z", b"11:00:00+02:00").replace(b"09:30:00Z", b"09:30:00")
    ride = open_ride(told)
    assert (ride.started_at, ride.ended_at) == (START, START + timedelta(minutes=30))


@pytest.mark.parametrize("place", ['lat="91.0"', 'lat="nan"', 'lat="north"', 'lat="inf"'])
def test_a_point_that_lies_nowhere_is_passed_over(place):
    first = f'lat="{WAY[0][0]:.8f}"'.encode()
    ride = open_ride(gpx(WAY).replace(first, place.encode()))
    assert ride.km == pytest.approx(6.0, rel=3e-3)


def test_a_route_without_times_is_refused():
    with pytest.raises(RideWithoutTimes):
        open_ride(gpx([(lat, lon, None) for lat, lon, _ in WAY]))


def test_times_that_run_backwards_are_refused():
    times = [at for _, _, at in WAY][::-1]
    with pytest.raises(RideTimesRunBack):
        open_ride(gpx([(lat, lon, at) for (lat, lon, _), at in zip(WAY, times, strict=True)]))


def test_a_journey_by_car_is_refused():
    with pytest.raises(RideTooFast):
        open_ride(gpx(northward(40_000, seconds=1_800)))


ENTITIES = '<!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;">]>'
OUTSIDE = '<!DOCTYPE gpx [<!ENTITY file SYSTEM "file:///etc/passwd">]>'
REMOTE = '<!DOCTYPE gpx SYSTEM "http://127.0.0.1:1/gpx.dtd">'


@pytest.mark.parametrize("before", [ENTITIES, OUTSIDE, REMOTE])
@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16"])
def test_a_document_type_is_refused_before_anything_is_expanded(before, encoding):
    with pytest.raises(UnsafeRideFile):
        open_ride(gpx(WAY, before=before, encoding=encoding))


@pytest.mark.parametrize(
    "content",
    [
        b"<gpx><trk>", b"<html><body>ride</body></html>", b"<", b"<gpx/>junk", b"hello", b"Date,Trike,Reading\n",
        b"\x89PNG\r\n\x1a\n" + b"\0" * 40, gpx(WAY)[:-400], b"<?xml version='1.0' encoding='klingon'?><gpx/>",
        b"<TrainingCenterDatabase/>", b"\xff\xfe\x00\xd8" * 9,
    ],
)  # fmt: skip
def test_what_is_no_ride_file_is_refused_in_words(content):
    with pytest.raises(NotARideFile) as refused:
        open_ride(content)
    assert refused.value.remedy


@pytest.mark.parametrize("content", [b"<gpx/>", gpx(), gpx([])])
def test_a_file_without_a_track_is_refused(content):
    with pytest.raises(RideRefused, match="no recorded track"):
        open_ride(content)


@pytest.mark.parametrize("content", [b"", b" \n\t"])
def test_an_empty_file_is_refused(content):
    with pytest.raises(EmptyFile):
        check_ride_size(content)


@pytest.mark.parametrize("mark", [b"PK\x03\x04", b"\x1f\x8b\x08", b"BZh9", b"\xfd7zXZ\x00", b"7z\xbc\xaf\x27\x1c"])
def test_packed_files_are_never_unpacked(mark):
    with pytest.raises(UnsafeRideFile, match="packed"):
        open_ride(mark + bytes(100))


def test_a_file_over_the_limit_is_refused_naming_it():
    with pytest.raises(FileTooLarge, match=r"8\.1 MB; the limit is 8 MB"):
        check_ride_size(b"<" + b" " * int(8.1 * 1024**2) + b">")


def test_two_hundred_thousand_points_are_refused_while_they_come_in():
    point = b'<trkpt lat="56" lon="3"/>'
    content = b"<gpx><trk><trkseg>" + point * 200_000 + b"</trkseg></trk></gpx>"
    with pytest.raises(FileTooLarge, match="100,000 points"):
        open_ride(content)


def test_too_many_records_are_refused_while_they_come_in(monkeypatch):
    monkeypatch.setattr(fit_file, "MAX_POINTS", 500)
    at = fit_seconds(START)
    with pytest.raises(FileTooLarge, match="500 records"):
        open_ride(fit((20, {"timestamp": at}) for _ in range(600)))


# FIT


def test_the_distance_a_recorder_summed_up_itself_is_taken():
    ride = open_ride(fit([*records(WAY), session(7.25, minutes=30)]))
    assert ride.km == 7.25
    assert (ride.started_at, ride.ended_at) == (START, START + timedelta(minutes=30))


def test_several_sessions_add_up():
    second = session(4.0, start=START + timedelta(hours=2))
    ride = open_ride(fit([session(7.0), second]))
    assert (ride.km, ride.ended_at) == (11.0, START + timedelta(hours=3))


def test_without_a_session_the_running_distance_of_the_records_counts():
    ride = open_ride(fit(records(WAY, metres_each=10)))
    assert ride.km == pytest.approx(6.0, abs=1e-6)


def test_a_running_distance_that_began_anew_is_added():
    ride = open_ride(fit([*records(WAY[:300], metres_each=10), *records(WAY[300:], metres_each=10)]))
    assert ride.km == pytest.approx(5.99 - 0.01, abs=0.02)


def test_without_any_distance_the_track_is_measured():
    assert open_ride(fit(records(WAY))).km == pytest.approx(6.0, rel=1e-3)


def test_a_run_is_no_ride():
    with pytest.raises(RideRefused, match="this was running"):
        open_ride(fit([session(8.0, sport=1)]))


def test_times_counted_since_the_device_was_switched_on_are_none():
    with pytest.raises(RideRefused):
        open_ride(fit([(20, {"timestamp": 600, "distance": 100_000})]))


@pytest.mark.parametrize("kept", [14, 15, 40, 200, -3, -1])
def test_a_truncated_fit_file_is_refused(kept):
    with pytest.raises(NotARideFile, match="no whole FIT file"):
        open_ride(fit([*records(WAY), session(6.0)])[:kept])


def test_a_fit_file_with_a_flipped_bit_is_refused():
    content = bytearray(fit([*records(WAY), session(6.0)]))
    content[len(content) // 2] ^= 4
    with pytest.raises(NotARideFile):
        open_ride(bytes(content))


@pytest.mark.parametrize("seed", range(30))
def test_whatever_is_done_to_a_file_it_is_read_or_refused(seed):
    rng = random.Random(seed)
    content = bytearray(rng.choice([gpx(WAY[:60]), fit([*records(WAY[:60]), session(6.0)])]))
    for _ in range(rng.randint(1, 12)):
        content[rng.randrange(len(content))] = rng.randrange(256)
    with suppress(FileRefused, RideRefused):
        assert open_ride(bytes(content)).km > 0


# The process of its own


def test_the_child_tells_the_ride_and_nothing_else():
    told = subprocess.run(
        [sys.executable, "-m", "tracker.rides.child"],
        input=gpx(WAY),
        capture_output=True,
        cwd=confined.ROOT,
        check=True,
    )
    assert json.loads(told.stdout)["read"] == {
        "started": "2026-04-20T09:00:00+00:00", "ended": "2026-04-20T09:30:00+00:00", "km": pytest.approx(6.0, rel=1e-3),
    }  # fmt: skip


def test_a_ride_comes_back_from_the_child_as_it_was_read():
    assert read_ride(gpx(WAY)) == open_ride(gpx(WAY))


def test_an_unknown_file_is_refused_without_a_child(monkeypatch):
    monkeypatch.setattr(child, "CHILD_WAIT_SECONDS", 0)
    with full_house(), pytest.raises(NotARideFile):
        read_ride(b"hello")


@pytest.mark.parametrize(
    ("content", "kind"),
    [(gpx([(lat, lon, None) for lat, lon, _ in WAY]), RideWithoutTimes), (b"<html/>", NotARideFile)],
)
def test_a_refusal_of_the_child_is_told_in_its_own_kind(content, kind):
    with pytest.raises(kind) as refused:
        read_ride(content)
    assert (refused.value.field, bool(refused.value.remedy)) == ("file", True)


@contextmanager
def full_house():
    """As many ride files are being read as may be."""
    for _ in range(limits.CHILDREN_AT_ONCE):
        child._places.acquire()
    try:
        yield
    finally:
        for _ in range(limits.CHILDREN_AT_ONCE):
            child._places.release()


def test_while_as_many_files_are_read_as_may_be_the_next_is_asked_to_come_again(monkeypatch):
    monkeypatch.setattr(child, "CHILD_WAIT_SECONDS", 0.05)
    with full_house(), pytest.raises(RideReaderBusy):
        read_ride(gpx(WAY))
    assert read_ride(gpx(WAY)).km > 0


@pytest.mark.skipif(not hasattr(os, "fork"), reason="limits of memory and time need a Unix")
def test_xml_made_to_fill_the_memory_is_refused_and_harms_nobody():
    with pytest.raises(FileRefused):
        read_ride(b"<a>" * 2_600_000)
