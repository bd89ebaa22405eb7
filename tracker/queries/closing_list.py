"""Closings as the desk sees them: the coming ones with the owners who expect the workshop to be open, and the past ones."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from tracker.models import Appointment, Closing, Visit
from tracker.queries.appointments import OPEN, ahead

PAST_SHOWN = 10


@dataclass(frozen=True)
class ClosingTold:
    """A closing, how many days it lasts, and the days asked for or agreed that lie in it: their owners expect us."""

    closing: Closing
    days: int
    appointments: tuple[Appointment, ...]


def closings_ahead(today: date) -> list[ClosingTold]:
    """Return the closings that are not over, soonest first, each with whom to ring. Two queries."""
    rows = Closing.objects.filter(last__gte=today).select_related("entered_by")
    expected = list(ahead(today).select_related("owner", "trike").order_by("on", "pk"))
    return [
        ClosingTold(
            row, (row.last - row.first).days + 1, tuple(one for one in expected if row.first <= one.on <= row.last)
        )
        for row in rows
    ]


def closings_past(today: date) -> QuerySet[Closing]:
    """Return the last closings that are over, the newest first."""
    return Closing.objects.filter(last__lt=today).select_related("entered_by").order_by("-first", "-pk")[:PAST_SHOWN]


def expected_in(closing: Closing, today: date) -> QuerySet[Appointment]:
    """Return the days asked for or agreed that lie in a closing, from `today` on."""
    return ahead(today).filter(on__range=(closing.first, closing.last)).order_by("on", "pk")


def with_expected(rows: QuerySet[Closing]) -> QuerySet[Closing]:
    """Return closings with `expected`: how many days asked for or agreed lie in each."""
    inside = Appointment.objects.filter(state__in=OPEN, on__range=(OuterRef("first"), OuterRef("last")))
    counted = inside.exclude(visit__state=Visit.State.DONE).order_by().values(one=Value(1)).annotate(n=Count("pk"))
    return rows.annotate(expected=Coalesce(Subquery(counted.values("n")), 0))


def agreed_while_closed(today: date) -> QuerySet[Appointment]:
    """Return the agreed days from `today` on that lie in a closing: somebody must ring these owners."""
    closing = Closing.objects.filter(first__lte=OuterRef("on"), last__gte=OuterRef("on"))
    return ahead(today).filter(Exists(closing), state=Appointment.State.CONFIRMED)
