"""The calendar feed of one owner and one trike: what is agreed, what is proposed, what was called off lately."""

from datetime import date, datetime, timedelta

from django.conf import settings

from services.calendar_file import Event, feed_file
from services.identity import visible
from services.kinds import task as task_of
from services.language import say
from tracker.models import Appointment, OwnerLink, Ownership, Visit
from tracker.queries.clock import noon
from tracker.queries.reminders import trike_name

STRUCK_OUT_DAYS = 30  # so long a calendar that looks in seldom still learns that a visit is off
FEED_LINKS = {"purpose": "feed", "revoked_at__isnull": True}


def feed_of(link: OwnerLink, now: datetime) -> bytes:
    """Return the feed behind `link`. The same state gives the same octets: nothing in it tells when it was asked for."""
    owned = Ownership.objects.filter(trike_id=link.trike_id, owner_id=link.owner_id, until__isnull=True).first()
    since = noon(owned.since) - timedelta(hours=12) if owned else now
    visits = Visit.objects.filter(trike_id=link.trike_id, opened_at__gte=since).exclude(
        closed_at__lt=now - timedelta(days=STRUCK_OUT_DAYS)
    )
    name = trike_name(link.trike)
    events = [event_of(visit, name) for visit in visits.order_by("pk").prefetch_related("lines", "appointments")]
    return feed_file(visible(f"{settings.WORKSHOP_NAME}: {name}"), events)


def event_of(visit: Visit, name: str) -> Event:
    """Return a visit as a calendar shows it. `visit` comes with its lines and appointments.

    Closing a signed card's visit raises no sequence of its own: being done counts as one more change here.
    """
    confirmed = next((row for row in visit.appointments.all() if row.state == Appointment.State.CONFIRMED), None)
    is_open, own = visit.state == Visit.State.OPEN, _owners_own(visit)
    agreed = confirmed if visit.state != Visit.State.DONE else None
    status = "CONFIRMED" if agreed else "TENTATIVE" if is_open else "CANCELLED"
    words = say("service agreed") if agreed else say("a check you can do yourself") if own else say("service proposed")
    return Event(
        uid=visit.uid,
        sequence=visit.sequence + (visit.state == Visit.State.DONE),
        stamp=_changed_at(visit),
        day=agreed.on if agreed else visit.planned_on,
        summary=visible(f"{name}: {words}"),
        description=_description(visit, agreed.on if agreed else None, own),
        status=status,
    )


def _owners_own(visit: Visit) -> bool:
    return all(task_of(line.task).owner_can for line in visit.lines.all())


def _description(visit: Visit, agreed_on: date | None, own: bool) -> str:
    titles = list(dict.fromkeys(say(task_of(line.task).title) for line in visit.lines.all()))
    if own:
        return "\n".join(titles)
    phone = settings.WORKSHOP_PHONE
    call = say("To change it: {phone}", phone=phone) if agreed_on else say("To agree a day: {phone}", phone=phone)
    return "\n".join([*titles, call])


def _changed_at(visit: Visit) -> datetime:
    """When the visit was last changed, as far as the record tells; a second later for each change of plan, so that it rises."""
    moments = [visit.opened_at, visit.closed_at]
    moments += [moment for row in visit.appointments.all() for moment in (row.asked_at, row.decided_at)]
    return max(filter(None, moments)) + timedelta(seconds=visit.sequence)


def has_feed(link: OwnerLink, now: datetime) -> bool:
    """Whether this owner has a calendar feed of this trike."""
    rows = OwnerLink.objects.filter(trike_id=link.trike_id, owner_id=link.owner_id, expires_at__gt=now, **FEED_LINKS)
    return rows.exists()
