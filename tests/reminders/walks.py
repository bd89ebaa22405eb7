"""A simulated workshop for long walks: trikes of several zones, a clock that jumps, and what was sent when."""

import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from tests import factories
from tests.reminders.conftest import dispatch_all, trike_with
from tracker.actions.posting import Delivery, Letter, Outcome
from tracker.models import OutboxMessage, Trike

IS_LONG = bool(os.environ.get("LONG_WALKS"))  # LONG_WALKS=1 pytest -n 0 -s tests/reminders: the sizes of the goals

# Whole and half hours, both halves of the earth, a zone that sets its clock by 30 minutes, one 14 hours ahead of UTC.
ZONES = (
    "Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "America/Santiago", "Pacific/Kiritimati",
)  # fmt: skip


@dataclass
class Counted:
    """A channel that writes down which letter went out when, and how often."""

    now: datetime
    sent: list[tuple[str, datetime]] = field(default_factory=list)

    def send(self, letter: Letter) -> Delivery:
        self.sent.append((letter.message_id, self.now))
        return Delivery(Outcome.SENT)

    def round(self, now: datetime) -> None:
        """Send all that may go out now."""
        self.now = now
        dispatch_all(self, now)

    @property
    def repeats(self) -> int:
        """Letters that went out more than once."""
        return sum(times - 1 for times in Counter(name for name, _ in self.sent).values())


def trikes_in(zones: Iterable[str], task, **owner) -> dict[str, Trike]:
    """One trike per zone whose work falls due on the same day; the next sweep looks at all of them."""
    trikes = {zone: trike_with(task, owner=factories.OwnerFactory(time_zone=zone, **owner)) for zone in zones}
    Trike.objects.update(due_dirty=True)
    return trikes


def wall_of(message_id: str, at: datetime) -> datetime:
    """The owner's wall clock when a letter went out."""
    owner = OutboxMessage.objects.select_related("owner").get(message_id=message_id).owner
    return at.astimezone(ZoneInfo(owner.time_zone))


def hours(start: datetime, end: datetime, step: timedelta = timedelta(hours=1)) -> Iterable[datetime]:
    """Every hour from start to end on a clock that runs evenly."""
    while start < end:
        yield start
        start += step
