"""When a routine message may reach an owner: their own quiet hours and days where they set some, else the shop's."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from django.conf import settings

from services.quiet_hours import next_allowed, open_hours
from tracker.models import Owner, Visit

WEEK = frozenset(range(7))


def may_arrive(owner: Owner, moment: datetime) -> datetime:
    """Return the first moment at or after `moment` outside the owner's quiet hours and days, on the owner's wall clock.

    Seven quiet days are no choice (stopping is): were they ever stored, the hours alone would hold.
    """
    quiet_from = settings.QUIET_FROM_HOUR if owner.quiet_from_hour is None else owner.quiet_from_hour
    quiet_until = settings.QUIET_UNTIL_HOUR if owner.quiet_until_hour is None else owner.quiet_until_hour
    days = WEEK & set(owner.quiet_weekdays)
    return next_allowed(moment, owner.time_zone, *open_hours(quiet_from, quiet_until), () if days >= WEEK else days)


def snooze_end(visit: Visit | None, owner: Owner, moment: datetime) -> datetime:
    """Return when the owner's snooze of this visit ends: the beginning of its day on their calendar; `moment` if it is over."""
    if visit is None or visit.snoozed_until is None:
        return moment
    return max(moment, datetime.combine(visit.snoozed_until, time(), ZoneInfo(owner.time_zone)))
