"""Reads a ride file in a process of its own, with limited memory and time: a hostile file harms only the child.

Not by the worker that reads spreadsheets: for that the file, and with it where somebody rode, would have to be kept in the
database. So the process that asks waits for the child, and nothing but two moments and a distance comes back. Three hours
recorded every second take half a second as GPX and two as FIT; a web process lets two children run at once.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from threading import BoundedSemaphore

from services import rides
from services.rides import Ride, RideRefused
from tracker.rides import refusals
from tracker.rides.limits import (
    CHILD_CPU_SECONDS,
    CHILD_MEMORY_BYTES,
    CHILD_WAIT_SECONDS,
    CHILD_WALL_SECONDS,
    CHILDREN_AT_ONCE,
)
from tracker.rides.opening import check_kind, check_size, open_ride

ROOT = Path(__file__).resolve().parent.parent.parent
KEPT = ("PATH", "HOME", "LANG", "SYSTEMROOT")  # no secret, no address of a database
COMMAND = (sys.executable, "-m", "tracker.rides.child")
_places = BoundedSemaphore(CHILDREN_AT_ONCE)


def read_ride(content: bytes) -> Ride:
    """Return the ride in an uploaded file, read in a child process.

    Raises: what open_ride raises; RideFileTooLarge when the child runs out of memory or time; RideReaderBusy.
    """
    check_size(content)
    check_kind(content)
    environment = {name: os.environ[name] for name in KEPT if name in os.environ} | {"OPENBLAS_NUM_THREADS": "1"}
    with _place():
        try:
            done = subprocess.run(
                COMMAND, input=content, capture_output=True, cwd=ROOT, env=environment, timeout=CHILD_WALL_SECONDS,
                check=True,
            )  # fmt: skip
        except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
            raise refusals.RideFileTooLarge(
                f"The file could not be read within {CHILD_MEMORY_BYTES // 1024**2:,} MB of memory and "
                f"{CHILD_CPU_SECONDS} s.", field="file", remedy="Send one ride at a time.",
            ) from None  # fmt: skip
    return _unpack(json.loads(done.stdout))


@contextmanager
def _place() -> Iterator[None]:
    if not _places.acquire(timeout=CHILD_WAIT_SECONDS):
        raise refusals.RideReaderBusy(
            "Other ride files are being read at the moment.", field="file", remedy="Send it again in a minute."
        )
    try:
        yield
    finally:
        _places.release()


def _unpack(answer: dict) -> Ride:
    if "refused" in answer:
        told = answer["refused"]
        kind = getattr(refusals, told["kind"], None) or getattr(rides, told["kind"])
        raise kind(told["message"], field="file", remedy=told["remedy"])
    return Ride(datetime.fromisoformat(answer["started"]), datetime.fromisoformat(answer["ended"]), answer["km"])


def _limit_this_process() -> None:
    try:
        import resource
    except ImportError:  # not on every system; the wall clock still limits
        return
    resource.setrlimit(resource.RLIMIT_AS, (CHILD_MEMORY_BYTES, CHILD_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CHILD_CPU_SECONDS, CHILD_CPU_SECONDS))


def _main() -> None:
    _limit_this_process()
    try:
        ride = open_ride(sys.stdin.buffer.read())
    except RideRefused as refusal:
        told = {"kind": type(refusal).__name__, "message": refusal.message, "remedy": refusal.remedy}
        answer = {"refused": told}
    else:
        answer = {"started": ride.started_at.isoformat(), "ended": ride.ended_at.isoformat(), "km": ride.km}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    _main()
