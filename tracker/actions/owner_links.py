"""Owner links: made, opened, used to stop or resume reminders, revoked."""

from datetime import datetime

from django.db.models import F

from services.errors import Refusal
from tracker.actions.link_steps import hash_of, mint_link
from tracker.actions.transactions import action
from tracker.models import Owner, OwnerLink
from tracker.queries.reminders import link_by_hash, owns


class LinkGone(Refusal):
    """Altered, expired, revoked, never made, or for a trike that has passed on: the answer is the same for all."""

    code = "link-gone"
    status = "missing"


@action
def make_link(*, trike_id: int, owner_id: int, purpose: str = "page", now: datetime) -> tuple[OwnerLink, str]:
    """Make a link for the present owner of a trike; return it with its token, shown this once.

    Raises LinkGone if this person does not own this trike.
    """
    if not owns(owner_id, trike_id):
        raise _gone()
    return mint_link(trike_id, owner_id, purpose, now)


def open_link(token: str, now: datetime, purpose: str = "page") -> OwnerLink:
    """Return the link behind `token`. Writes nothing: mail scanners open links too. Raises LinkGone."""
    link = link_by_hash(hash_of(token), purpose)
    if link is None or link.revoked_at is not None or link.expires_at <= now:
        raise _gone()
    if purpose != "stop" and not owns(link.owner_id, link.trike_id):
        raise _gone()
    return link


def _gone() -> LinkGone:
    return LinkGone("This link does not work any more.", remedy="Ask the workshop for a new one.")


@action
def stop_reminders(*, link: OwnerLink, now: datetime) -> Owner:
    """Stop routine reminders to the owner of `link`. Stopping twice keeps the first moment."""
    Owner.objects.filter(pk=link.owner_id, stopped_at__isnull=True).update(stopped_at=now, version=F("version") + 1)
    return _used(link, now)


@action
def resume_reminders(*, link: OwnerLink, now: datetime) -> Owner:
    """Let reminders go out again: the owner's own word, so it also counts as agreement, with its time and source."""
    owner = Owner.objects.select_for_update(of=("self",), no_key=True).get(pk=link.owner_id)
    if not owner.reminders_agreed:
        owner.reminders_agreed, owner.agreed_at, owner.agreed_source = True, now, "owner page"
    owner.stopped_at = None
    owner.version += 1
    owner.save(update_fields=["reminders_agreed", "agreed_at", "agreed_source", "stopped_at", "version"])
    return _used(link, now)


@action
def make_feed(*, link: OwnerLink, now: datetime) -> str:
    """Give the owner of `link` the token of a calendar feed, shown this once. One they had before ends: it may have got about."""
    _end_feeds(link, now)
    _used(link, now)
    return mint_link(link.trike_id, link.owner_id, "feed", now)[1]


@action
def end_feed(*, link: OwnerLink, now: datetime) -> int:
    """End the calendar feed of the owner of `link`; return how many were open."""
    _used(link, now)
    return _end_feeds(link, now)


def _end_feeds(link: OwnerLink, now: datetime) -> int:
    open_ones = OwnerLink.objects.filter(
        trike_id=link.trike_id, owner_id=link.owner_id, purpose="feed", revoked_at__isnull=True
    )
    return open_ones.update(revoked_at=now)


def _used(link: OwnerLink, now: datetime) -> Owner:
    OwnerLink.objects.filter(pk=link.pk).update(last_used_at=now)
    return Owner.objects.get(pk=link.owner_id)


@action
def revoke_links(*, trike_id: int | None = None, owner_id: int | None = None, now: datetime) -> int:
    """Revoke the links of a trike, of an owner, or of one owner to one trike; return how many were still open."""
    links = OwnerLink.objects.filter(revoked_at__isnull=True)
    if trike_id is not None:
        links = links.filter(trike_id=trike_id)
    if owner_id is not None:
        links = links.filter(owner_id=owner_id)
    if trike_id is None and owner_id is None:
        links = links.none()
    return links.update(revoked_at=now)
