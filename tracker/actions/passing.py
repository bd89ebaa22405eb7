"""A trike passes to another owner: what is the old owner's ends, what is the new one's begins, the history stays."""

from datetime import date, datetime
from decimal import Decimal

from services.identity import clean_text
from tracker.actions.bulletin_notices import tell_of_hazards
from tracker.actions.link_steps import revoke_links_of
from tracker.actions.reading_photo_steps import forget_reading_photos
from tracker.actions.refusals import FieldInvalid, Invalid, NotEnough, SameOwner, WrongState
from tracker.actions.steps import draft_of, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.actions.usage import keep_reading
from tracker.actions.visit_steps import drop_reminders, drop_visit
from tracker.models import BulletinNotice, OutboxMessage, Owner, Ownership, ReadingPhoto, Trike, User
from tracker.queries.clock import local_date, noon


@action
def pass_on(
    *, trike_id: int, owner_id: int, since: date, reading: Decimal | float | None = None, unit: str = "km",
    answer: str | None = None, agreed: bool = False, agreed_source: str = "", version: int | None = None,
    by: User | None = None, now: datetime, source: str = "desk",
) -> Ownership:  # fmt: skip
    """Give a delivered trike its next owner from the day `since` on; return the ownership that begins.

    reading: what the display showed that day, kept as any reading is (answer: see usage.keep_reading). agreed: the new
    owner's own word about reminders, with how it was given; without it nothing of theirs is changed. The rider's rate
    begins anew, half way to the fleet's (services.rates.change_of_owner), so that the due list widens and learns.

    Raises WrongState (in build, retired, stolen), SameOwner, FieldInvalid (day), NotEnough, StaleVersion, and what a
    reading raises.
    """
    trike = lock_version(Trike, trike_id, version)
    _check_passable(trike)
    owner = Owner.objects.select_for_update(of=("self",), no_key=True).filter(pk=owner_id).first()
    if owner is None or owner.erased_at is not None:
        raise Invalid("There is no such owner.", field="owner", remedy="Add the owner first.")
    present = Ownership.objects.filter(trike=trike, until__isnull=True).first()
    _check_owner_and_day(trike, present, owner, since, now)
    if agreed and not agreed_source.strip():
        raise NotEnough(
            "How they agreed is missing.", field="agreed_source", remedy="Such as: by telephone, in writing."
        )
    if reading is not None:
        at = now if since == local_date(now) else noon(since)
        keep_reading(trike, reading, unit, at, source, by, now, answer=answer)
    begun = _change_hands(trike, present, owner, since, now)
    if agreed:
        _agree(owner, agreed_source, now)
    body = {"since": since.isoformat(), "ownership": begun.pk, "before": present.pk if present else None}
    write_logs(
        [draft_of(trike.pk, "owner_changed", noon(since) if since < local_date(now) else now, by, source, body)], now
    )
    refresh_due([trike.pk], now)
    return begun


def _check_passable(trike: Trike) -> None:
    if trike.state != Trike.State.DELIVERED:
        raise WrongState(
            f"Trike {trike} is {trike.get_state_display()}.", field="id",
            remedy="Only a delivered trike passes on: the first owner is named at the handover.",
        )  # fmt: skip
    if trike.stolen_on is not None:
        raise WrongState(
            f"Trike {trike} is reported stolen.", field="id", remedy="Record first that it was found again."
        )


def _check_owner_and_day(trike: Trike, present: Ownership | None, owner: Owner, since: date, now: datetime) -> None:
    if present is not None and present.owner_id == owner.pk:
        raise SameOwner("The trike is theirs already.", field="owner", remedy="Choose the person who has it now.")
    if since > local_date(now):
        raise FieldInvalid("The day lies in the future.", field="since", remedy="Pass it on when they have it.")
    begun = max(filter(None, [present and present.since, trike.delivered_on]), default=None)
    if begun is not None and since < begun:
        raise FieldInvalid(
            f"The present ownership began on {begun:%d %b %Y}.", field="since", remedy="Use that day or a later one."
        )


def _change_hands(trike: Trike, present: Ownership | None, owner: Owner, since: date, now: datetime) -> Ownership:
    """End what is the old owner's (ownership, links, visit, waiting reminders) and begin the new ownership."""
    if present is not None:
        present.until = since
        present.save(update_fields=["until"])
    begun = Ownership.objects.create(trike=trike, owner=owner, since=since)
    revoke_links_of(trike.pk, now)
    forget_reading_photos(ReadingPhoto.objects.filter(reading__trike=trike))  # pictures are their sender's own
    drop_reminders(trike.pk, "The trike has another owner now.")
    waiting = OutboxMessage.objects.filter(trike=trike, state=OutboxMessage.State.WAITING, kind="safety")
    BulletinNotice.objects.filter(message__in=waiting).update(owner=owner)
    waiting.update(owner=owner)  # a hazard goes with the machine
    tell_of_hazards([trike.pk], now)
    drop_visit(trike.pk, now)  # the next sweep proposes the new owner one of their own
    trike.version += 1
    trike.save(update_fields=["version"])
    return begun


def _agree(owner: Owner, how: str, now: datetime) -> None:
    owner.reminders_agreed, owner.agreed_at, owner.agreed_source = True, now, clean_text(how, 80)
    owner.stopped_at = None
    owner.version += 1
    owner.save(update_fields=["reminders_agreed", "agreed_at", "agreed_source", "stopped_at", "version"])
