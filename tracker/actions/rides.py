"""A ride that came as a file: counted once, from what the display showed last, and never against a later reading."""

from datetime import datetime, timedelta
from decimal import Decimal

from services.due_words import say_date
from services.language import ENGLISH, say, speaking
from services.rides import Ride
from services.units import say_distance
from tracker.actions.refusals import Conflict, Invalid, WrongState
from tracker.actions.steps import draft_of, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import OdometerReading, RideFile, Trike, User
from tracker.models.usage import Source
from tracker.queries.clock import local_date
from tracker.queries.rides import LastRead, last_read, rides_since, total_km

SKEW = timedelta(minutes=5)  # recorders' clocks and ours


class RideAlreadyCounted(Conflict):
    """This file, or another one of the same time, is counted already."""

    code = "ride-already-counted"


class RideBeforeReading(Conflict):
    """The odometer was read after this ride began, so that the ride is in that reading."""

    code = "ride-before-reading"


class RideInFuture(Invalid):
    """The ride ends after now."""

    code = "ride-in-future"


class RideNeedsReading(Conflict):
    """Nobody knows yet what the odometer shows, so that there is nothing to add the ride to."""

    code = "ride-needs-reading"


@action
def take_ride(
    *, trike_id: int, ride: Ride, sha256: str, source: str = "desk", by: User | None = None, now: datetime
) -> RideFile:  # fmt: skip
    """Count a ride: an odometer reading of what the display should show by then, added up by nobody's eyes.

    Its value is the last one read plus all rides since then, this one included, whatever the order they come in. As long as
    no later reading is there, the trike's distance is at least that (services/rides.py). `sha256`: of the file.
    Raises RideAlreadyCounted, RideBeforeReading, RideInFuture, RideNeedsReading, WrongState.
    """
    trike = lock_version(Trike, trike_id, None)
    if trike.state == Trike.State.RETIRED:
        raise WrongState(
            say("Trike {trike} is retired.", trike=trike), field="trike",
            remedy=say("Rides are counted for trikes in service."),
        )  # fmt: skip
    if ride.ended_at > now + SKEW:
        raise RideInFuture(
            say("The ride lies in the future."), field="file", remedy=say("Check the clock of the recorder.")
        )
    _refuse_twice(trike, ride, sha256)
    begun = _begun(trike, ride)
    with speaking(ENGLISH):  # the record's words
        row = _write(trike, ride, sha256, begun, by, now)
    body = {"reading": row.reading_id, "km": row.km, "shows": row.reading.km}
    write_logs([draft_of(trike.pk, "ride", ride.ended_at, by, source, body)], now)
    refresh_due([trike.pk], now)
    return row


def _refuse_twice(trike: Trike, ride: Ride, sha256: str) -> None:
    rides = RideFile.objects.filter(trike=trike)
    same = rides.filter(sha256=sha256) | rides.filter(started_at__lt=ride.ended_at, ended_at__gt=ride.started_at)
    if same.exists():
        raise RideAlreadyCounted(
            say("The ride of {date} is counted already.", date=_day(ride.started_at)),
            field="file",
            remedy=say("There is nothing more to do."),
        )


def _begun(trike: Trike, ride: Ride) -> LastRead:
    """What the display showed last, before this ride."""
    begun = last_read(trike.pk)
    if begun is None:
        raise RideNeedsReading(
            say("Nobody has read the odometer yet."),
            field="file",
            remedy=say("Type what it shows; rides count from then on."),
        )
    if ride.started_at < begun.at:
        raise RideBeforeReading(
            say("The odometer was read on {read}, after this ride of {begun} began: it is in that reading already.",
                read=_day(begun.at), begun=_day(ride.started_at)),
            field="file", remedy=say("There is nothing more to do."),
        )  # fmt: skip
    return begun


def _write(trike: Trike, ride: Ride, sha256: str, begun: LastRead, by: User | None, now: datetime) -> RideFile:
    """Write the reading and the ride. The reading is of the latest moment that it is a sum up to."""
    before = rides_since(trike.pk, begun.at)
    count, shows = before.count() + 1, round(begun.km + total_km(before) + ride.km, 1)
    latest = [ride.ended_at, *before.order_by("-ended_at").values_list("ended_at", flat=True)[:1]]
    files = "a ride file" if count == 1 else f"{count} ride files"
    reading = OdometerReading.objects.create(
        trike=trike, read_at=min(max(latest), now), value=Decimal(str(shows)), unit="km", km=shows,
        source=Source.RIDE_FILE, verdict=OdometerReading.Verdict.ESTIMATED, reason_code="ride-files",
        reason=f"{say_distance(begun.km)} on {_day(begun.at)} and {files} since: at least about this.", entered_by=by,
        recorded_at=now,
    )  # fmt: skip
    return RideFile.objects.create(
        trike=trike, sha256=sha256, started_at=ride.started_at, ended_at=ride.ended_at, km=ride.km, reading=reading,
        added_at=now,
    )  # fmt: skip


def _day(moment: datetime) -> str:
    return say_date(local_date(moment))
