"""Reads a ride file in a process of its own, see tracker/confined.py: nothing but two moments and a distance comes back.

Not by the worker that reads spreadsheets: for that the file, and with it where somebody rode, would have to be kept in the
database. So the process that asks waits for the child. Three hours recorded every second take half a second as GPX and two
as FIT; a web process lets two children run at once.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from threading import BoundedSemaphore

from services.language import ENGLISH, say, speaking, spoken
from services.rides import Ride, RideRefused
from tracker.confined import FileRefused, answer_parent, read_in_child
from tracker.language import OURS
from tracker.rides.limits import CHILD, CHILD_WAIT_SECONDS, CHILDREN_AT_ONCE
from tracker.rides.opening import ONE_AT_A_TIME, check_kind, check_ride_size, open_ride
from tracker.rides.refusals import RideReaderBusy

_places = BoundedSemaphore(CHILDREN_AT_ONCE)


def read_ride(content: bytes) -> Ride:
    """Return the ride in an uploaded file, read in a child process.

    Raises: what open_ride raises; FileTooLarge when the child runs out of memory or time; RideReaderBusy.
    """
    check_ride_size(content)
    check_kind(content)
    with _place():
        told = read_in_child(
            "tracker.rides.child",
            content,
            CHILD,
            spoken(),
            kinds=(FileRefused, RideRefused),
            if_large=say(ONE_AT_A_TIME),
        )
    return Ride(datetime.fromisoformat(told["started"]), datetime.fromisoformat(told["ended"]), told["km"])


@contextmanager
def _place() -> Iterator[None]:
    if not _places.acquire(timeout=CHILD_WAIT_SECONDS):
        raise RideReaderBusy(
            say("Other ride files are being read at the moment."),
            field="file",
            remedy=say("Send it again in a minute."),
        )
    try:
        yield
    finally:
        _places.release()


def _read(content: bytes) -> dict:
    ride = open_ride(content)
    return {"started": ride.started_at.isoformat(), "ended": ride.ended_at.isoformat(), "km": ride.km}


if __name__ == "__main__":
    with speaking(*sys.argv[1:] or [ENGLISH], OURS):
        answer_parent(CHILD, _read)
