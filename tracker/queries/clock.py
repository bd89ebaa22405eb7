"""Between moments in the database (aware, UTC) and the workshop's own calendar."""

from datetime import date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from django.conf import settings


@cache
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def workshop_zone() -> ZoneInfo:
    """Return the workshop's time zone."""
    return _zone(settings.WORKSHOP_TIME_ZONE)


def local_date(moment: datetime) -> date:
    """Return the workshop's calendar date at `moment`."""
    return moment.astimezone(workshop_zone()).date()


def day_of(moment: datetime) -> float:
    """Return `moment` as services/ counts time: days of the workshop's calendar with the fraction of the day."""
    local = moment.astimezone(workshop_zone())
    seconds = local.hour * 3600 + local.minute * 60 + local.second
    return local.toordinal() + (seconds + local.microsecond / 1e6) / 86_400


def day_of_date(day: date) -> float:
    """Return the noon of `day` as services/ counts time: dates without an hour stand for noon."""
    return day.toordinal() + 0.5


def noon(day: date) -> datetime:
    """Return noon of `day` in the workshop, as a moment."""
    return datetime.combine(day, time(12), tzinfo=workshop_zone())


def date_of_day(day: float) -> date:
    """Return the calendar date of a services/ day."""
    return date.fromordinal(int(day))


def after_days(day: date, days: int) -> date:
    """Return the date `days` after `day`."""
    return day + timedelta(days=days)
