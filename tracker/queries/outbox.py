"""The outbox as the desk sees it, and how far behind it is."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import QuerySet

from tracker.models import OutboxMessage

State = OutboxMessage.State
NEEDS_A_PERSON = (State.UNKNOWN, State.FAILED)
BACK_LATELY = timedelta(days=90)


def messages(state: str = "") -> QuerySet[OutboxMessage]:
    """Return messages, newest first, with all the desk's list shows; of one state where it is named."""
    rows = OutboxMessage.objects.select_related("trike", "owner", "visit").order_by("-created_at", "-pk")
    return rows.filter(state=state) if state else rows


def needs_a_person() -> QuerySet[OutboxMessage]:
    """Return the messages only a person can decide: failed for good, or sent-or-not unknown."""
    return messages().filter(state__in=NEEDS_A_PERSON)


def came_back(now: datetime) -> QuerySet[OutboxMessage]:
    """Return the letters that came back within 90 days to owners whose address is dead since, newest first."""
    rows = messages().filter(bounced_at__gt=now - BACK_LATELY, owner__email_dead_at__isnull=False)
    return rows.order_by("-bounced_at", "-pk")


def ready(now: datetime) -> QuerySet[OutboxMessage]:
    """Return the messages that may go out now."""
    return OutboxMessage.objects.filter(state=State.WAITING, not_before__lte=now)


@dataclass(frozen=True)
class Backlog:
    """How far behind the dispatcher is."""

    waiting: int  # may go out now
    oldest: timedelta  # how long the oldest of them has waited
    unknown: int
    failed: int


def backlog(now: datetime) -> Backlog:
    """Return what should have gone out by `now` and has not."""
    due = ready(now)
    oldest = due.order_by("not_before").values_list("not_before", flat=True).first()
    return Backlog(
        waiting=due.count(),
        oldest=now - oldest if oldest else timedelta(0),
        unknown=OutboxMessage.objects.filter(state=State.UNKNOWN).count(),
        failed=OutboxMessage.objects.filter(state=State.FAILED).count(),
    )


def kept_letter(message: OutboxMessage) -> bytes | None:
    """Return the .eml file that the folder channel kept of a message, or None."""
    if not message.file_name:
        return None
    path = Path(settings.MAIL_FOLDER) / Path(message.file_name).name
    return path.read_bytes() if path.is_file() else None
