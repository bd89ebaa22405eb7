"""Days without work at the workshop, asked for in this one place by all that proposes, offers or agrees a day."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import TypedDict

from django.conf import settings

from tracker.models import Closing


class Closed(TypedDict):
    """As the planner of visits and the bench take it: the weekdays without work (Monday 0), and the single days."""

    closed_weekdays: Collection[int]
    closed_dates: Collection[date]


def days_closed(first: date) -> Closed:
    """Return when the workshop does not work from `first` on. One query."""
    spans = Closing.objects.filter(last__gte=first).order_by().values_list("first", "last")
    dates = {day for start, end in spans for day in _days(max(start, first), end)}
    return {"closed_weekdays": settings.CLOSED_WEEKDAYS, "closed_dates": frozenset(dates)}


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]


def closing_on(day: date) -> Closing | None:
    """Return the closing that a day lies in, or None."""
    return Closing.objects.filter(first__lte=day, last__gte=day).first()
