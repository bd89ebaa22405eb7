"""When a routine message may arrive: between two hours of the clock on the owner's wall, summer time included."""

from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from services.errors import Refusal

PIECE = timedelta(hours=1)  # no zone changes its clock twice within an hour
MIDNIGHT = {"hour": 0, "minute": 0, "second": 0, "microsecond": 0}


class BadQuietHours(Refusal):
    """The allowed hours leave no room in the day, or no day is left."""

    code = "bad-quiet-hours"


def next_allowed(
    moment: datetime, zone: str, from_hour: int = 8, until_hour: int = 20, quiet_days: Collection[int] = frozenset()
) -> datetime:
    """Return the first moment at or after `moment` whose wall clock in `zone` lies in [from_hour, until_hour).

    `moment` is aware; the answer is in UTC. `quiet_days`: weekdays on that wall without messages, Monday is 0. Where the
    clocks go forward over `from_hour`, the day begins when the skipped hour ends; where they skip the whole stretch, the
    next day is asked; where they go back into it, it opens again. Without quiet days the answer is less than 48 h away.

    Raises BadQuietHours unless 0 <= from_hour < until_hour <= 24 and a weekday is left.
    """
    if not 0 <= from_hour < until_hour <= 24:
        raise BadQuietHours(
            f"Messages cannot go out between {from_hour} and {until_hour} o'clock.",
            remedy="Choose a first hour that comes before the last one.",
        )
    if set(quiet_days) >= set(range(7)):
        raise BadQuietHours("Every day of the week is a quiet day.", remedy="Leave at least one day for messages.")
    at, place = moment.astimezone(UTC), ZoneInfo(zone)
    while True:
        offset, end = _offset(at, place), _same_clock_until(at, place)
        wall = _first_open(_wall(at, offset), _wall(end, offset), from_hour, until_hour, quiet_days)
        if wall is not None:
            return (wall - offset).replace(tzinfo=UTC)
        at = end


def open_hours(quiet_from: int, quiet_until: int) -> tuple[int, int]:
    """Return the hours [from, until) in which messages may arrive, where nothing may from `quiet_from` to `quiet_until`.

    Quiet from 20 to 8 opens 8 to 20. Quiet within one day, as from 1 to 9, leaves the stretch from its end to midnight: one
    stretch a day is enough for a letter. Equal hours are no quiet hours. Any hour counts on the wall of 24.
    """
    quiet_from, quiet_until = quiet_from % 24, quiet_until % 24
    if quiet_from == quiet_until:
        return 0, 24
    return quiet_until, quiet_from if quiet_from > quiet_until else 24


def _first_open(
    wall: datetime, end: datetime, from_hour: int, until_hour: int, quiet_days: Collection[int]
) -> datetime | None:
    """The first open moment in [wall, end) of a clock that runs evenly; None where there is none."""
    while wall < end:
        if wall.weekday() in quiet_days or wall.hour >= until_hour:
            wall = wall.replace(**MIDNIGHT) + timedelta(days=1)
        elif wall.hour < from_hour:
            wall = wall.replace(**MIDNIGHT | {"hour": from_hour})
        else:
            return wall
    return None


def _same_clock_until(at: datetime, place: ZoneInfo) -> datetime:
    """The end of a stretch of at most an hour from `at` within which the clock is not set; exact where it is."""
    offset, low, high = _offset(at, place), at, at + PIECE
    if _offset(high, place) == offset:
        return high
    while high - low > timedelta.resolution:
        middle = low + (high - low) // 2
        low, high = (middle, high) if _offset(middle, place) == offset else (low, middle)
    return high


def _offset(at: datetime, place: ZoneInfo) -> timedelta:
    return at.astimezone(place).utcoffset() or timedelta(0)


def _wall(at: datetime, offset: timedelta) -> datetime:
    return at.replace(tzinfo=None) + offset
