"""An owner asks for their data to be erased, and it is: what is personal goes, the machine's record stays.

Article 17 of the General Data Protection Regulation. What is signed or chained names owners by their number alone, so
that every chain still verifies. Who owned a trike from when to when stays too, without a name.
"""

from datetime import datetime

from django.conf import settings
from django.contrib.admin.models import LogEntry as AdminEntry
from django.contrib.contenttypes.models import ContentType
from django.db import transaction
from django.db.models import F

from services.language import ENGLISH
from tracker.actions.bulletin_notices import SAFETY, follow_letter
from tracker.actions.mail_files import remove_letters
from tracker.actions.posting import file_name_of
from tracker.actions.reading_photo_steps import forget_reading_photos
from tracker.actions.refusals import Invalid, StaleVersion, WrongState
from tracker.actions.steps import LogDraft, draft_of, lock_trikes, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.actions.visit_steps import drop_visit
from tracker.models import (
    Appointment,
    BulletinNotice,
    IdempotencyRecord,
    ImportBatch,
    ImportRow,
    OutboxMessage,
    Owner,
    OwnerLink,
    Ownership,
    ReadingPhoto,
    Trike,
    User,
)
from tracker.queries.clock import local_date
from tracker.queries.erasing import imported_rows

NAME = "Erased owner"
WHY = "The owner's data was erased."
IN_FILES = ("Owner", "E-mail", "Phone")  # columns of a delivery file that are personal
State = OutboxMessage.State


@action
def ask_erasure(*, owner_id: int, now: datetime) -> Owner:
    """Note that an owner wants their data erased; asked again, the first day stands. Raises Invalid, WrongState."""
    owner = _held(owner_id)
    if owner.erase_asked_at is None:
        owner.erase_asked_at = now
        owner.version += 1
        owner.save(update_fields=["erase_asked_at", "version"])
    return owner


@action
def keep_owner(*, owner_id: int, now: datetime) -> Owner:
    """End a request without erasing: taken back, or something obliges the workshop to keep it. Raises Invalid, WrongState."""
    owner = _held(owner_id)
    if owner.erase_asked_at is None:
        raise WrongState("They did not ask.", field="id", remedy="There is nothing to end.")
    owner.erase_asked_at = None
    owner.version += 1
    owner.save(update_fields=["erase_asked_at", "version"])
    return owner


@action
def erase_owner(*, owner_id: int, version: int | None = None, by: User | None, now: datetime) -> Owner:
    """Erase what is personal of an owner for good; return the row that stays, without a name.

    Their trikes have no owner from today on. Raises Invalid, WrongState (erased already, a mail on its way), StaleVersion.
    """
    owned = Ownership.objects.filter(owner_id=owner_id, until__isnull=True)
    trikes = lock_trikes(owned.values_list("trike_id", flat=True))  # before the owner, as whoever passes a trike on
    owner = _held(owner_id)
    if version is not None and owner.version != version:
        raise StaleVersion(
            "Somebody else changed this owner in the meantime.", field="version", remedy="Look once more, then erase."
        )
    _hold_mails(owner, now)
    theirs = list(owned.order_by("trike_id"))
    _end_mails(owner, now)
    drafts = [_end_ownership(row, now, by) for row in theirs]
    OwnerLink.objects.filter(owner=owner).delete()
    forget_reading_photos(ReadingPhoto.objects.filter(owner=owner))
    Appointment.objects.filter(owner=owner).update(note="", answer="")
    BulletinNotice.objects.filter(owner=owner).exclude(told_note="").update(told_note="")
    _erase_copies(owner)
    _blank(owner, now)
    write_logs(drafts, now)
    refresh_due(trikes, now)  # seasons go by the workshop from here on, no more by where they live
    return owner


def _held(owner_id: int) -> Owner:
    owner = Owner.objects.select_for_update(of=("self",), no_key=True).filter(pk=owner_id).first()
    if owner is None:
        raise Invalid("There is no such owner.", field="id", remedy="Look them up again.")
    if owner.erased_at is not None:
        raise WrongState("Their data was erased already.", field="id", remedy="Nothing is left to erase.")
    return owner


def _hold_mails(owner: Owner, now: datetime) -> None:
    """Let no dispatcher take another letter to them. Raises WrongState while one has.

    It waits for none: a dispatcher holds its letter before it asks for the trike, which is held here already.
    """
    unsent = owner.messages.exclude(state=State.SENT).order_by("pk")
    held = list(unsent.select_for_update(of=("self",), skip_locked=True))  # as they stand now that they are held
    under_way = any(message.state == State.SENDING and message.lease_until >= now for message in held)
    if under_way or {message.pk for message in held} != set(unsent.values_list("pk", flat=True)):
        raise WrongState("A mail to them is on its way.", field="id", remedy="Try again in a minute.")


def _end_mails(owner: Owner, now: datetime) -> None:
    """What waits does not go out; of what went out the day and the kind stay, and no word."""
    for message in owner.messages.filter(kind=SAFETY, state__in=[State.WAITING, State.UNKNOWN]):
        follow_letter(message, reached=False, now=now)
    # by its Message-ID: of a letter whose dispatcher died the row does not know that a folder kept it
    names = [file_name_of(text) for text in owner.messages.values_list("message_id", flat=True)]
    transaction.on_commit(lambda: remove_letters(names))
    owner.messages.exclude(state=State.SENT).update(state=State.DROPPED)
    owner.messages.update(payload={}, file_name="", bounce_note="", last_error="")
    owner.messages.filter(state=State.DROPPED).update(last_error=WHY)


def _end_ownership(owned: Ownership, now: datetime, by: User | None) -> LogDraft:
    """End an ownership with all that was planned with its owner; return what the trike's logbook says of it."""
    owned.until = max(local_date(now), owned.since)
    owned.save(update_fields=["until"])
    drop_visit(owned.trike_id, now)
    Trike.objects.filter(pk=owned.trike_id).update(version=F("version") + 1)
    body = {"ownership": owned.pk, "until": owned.until.isoformat()}
    return draft_of(owned.trike_id, "owner_erased", now, by, "desk", body)


def _erase_copies(owner: Owner) -> None:
    """What other tables hold a copy of: rows of uploaded files, kept answers of the API, the admin's own list."""
    rows = imported_rows(owner)
    for row in rows:
        row.raw |= {name: "" for name in IN_FILES if name in row.raw}
        row.message = "" if row.field in IN_FILES else row.message
    ImportRow.objects.bulk_update(rows, ["raw", "message"], batch_size=200)
    ImportBatch.objects.filter(pk__in={row.batch_id for row in rows}).update(content=b"")
    IdempotencyRecord.objects.filter(body__name=owner.name).delete()
    entries = AdminEntry.objects.filter(content_type=ContentType.objects.get_for_model(Owner), object_id=str(owner.pk))
    entries.update(object_repr=NAME, change_message="")


def _blank(owner: Owner, now: datetime) -> None:
    fresh = Owner(name=NAME, time_zone=settings.WORKSHOP_TIME_ZONE, language=ENGLISH, erased_at=now)
    for field in Owner._meta.concrete_fields:
        if field.name not in {"id", "version"}:
            setattr(owner, field.name, getattr(fresh, field.name))
    owner.version += 1
    owner.save()
