"""Whether a browser may keep a copy of an owner's page for when it has no connection, and for how long."""

from datetime import datetime, timedelta

from tracker.models import OutboxMessage, OwnerLink, Ownership
from tracker.queries.clock import noon

COOKIE_DAYS = 30  # so long a device may open the page without its link, and show a copy of it


def copy_until(link: OwnerLink, now: datetime) -> datetime | None:
    """Return until when a copy of the page behind `link` may be shown; None: keep none, remove what is there.

    None is for who stopped the reminders, and for who said that somebody else gets the trike. Two queries.
    """
    if link.owner.stopped_at is not None or _is_handed_on(link):
        return None
    return min(link.expires_at, now + timedelta(days=COOKIE_DAYS))


def _is_handed_on(link: OwnerLink) -> bool:
    owned = Ownership.objects.filter(trike_id=link.trike_id, owner_id=link.owner_id, until__isnull=True).first()
    said = OutboxMessage.objects.filter(trike_id=link.trike_id, kind="hand_on")
    return owned is None or said.filter(created_at__gte=noon(owned.since) - timedelta(hours=12)).exists()
