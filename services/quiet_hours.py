"""When a routine message may arrive: between two hours of the clock on the owner's wall, summer time included."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from services.errors import Refusal


class BadQuietHours(Refusal):
    """The allowed hours leave no room in the day."""

    code = "bad-quiet-hours"


def next_allowed(moment: datetime, zone: str, from_hour: int = 8, until_hour: int = 20) -> datetime:
    """Return the first moment at or after `moment` whose wall clock in `zone` lies in [from_hour, until_hour).

    `moment` is aware; the answer is in UTC. Where the clocks go forward over `from_hour`, the day begins when the
    skipped hour ends. Raises BadQuietHours unless 0 <= from_hour < until_hour <= 24.
    """
    if not 0 <= from_hour < until_hour <= 24:
        raise BadQuietHours(
            f"Messages cannot go out between {from_hour} and {until_hour} o'clock.",
            remedy="Choose a first hour that comes before the last one.",
        )
    wall = moment.astimezone(ZoneInfo(zone))
    if from_hour <= wall.hour < until_hour:
        return moment.astimezone(UTC)
    day = wall.date() if wall.hour < from_hour else wall.date() + timedelta(days=1)
    opening = datetime.combine(day, time(from_hour), tzinfo=ZoneInfo(zone)).astimezone(UTC)
    # An hour that happens twice can open a second time after `moment`; the past is never an answer.
    return max(opening, moment.astimezone(UTC))
