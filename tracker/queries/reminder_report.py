"""What reminders bring: what went out, what came back, who came, how early or late. A fixed number of queries.

Whether a mail was opened is not known and not asked: letters carry no pictures and no tracked links.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from django.db.models import Count, Min, Q

from tracker.models import OdometerReading, OutboxMessage, Owner, Trike, Visit
from tracker.queries.clock import local_date

LOOKED_BACK = timedelta(days=365)
FOLLOWS = timedelta(days=60)  # a visit this long after the first reminder of it counts as its answer
ROUTINE = ("reminder", "question")
State = OutboxMessage.State


@dataclass(frozen=True)
class Days:
    """How many days after the first task's due day visits were done; negative: before it."""

    middle: float
    earliest: int
    latest: int
    early: int  # visits done before the day
    late: int


@dataclass(frozen=True)
class Report:
    """The last twelve months."""

    since: datetime
    sent: int
    by_stage: list[tuple[str, int]]
    came_back: int
    failed: int
    unknown: int
    waiting: int
    reminded: int  # visits an owner was reminded of
    followed: int  # of these, done within 60 days
    open_still: int  # of these, too fresh to tell
    days: Days | None
    owners: int  # who have a trike
    reporting: int  # of these, who told us an odometer themselves
    stopped: int
    unreachable: int

    @property
    def told(self) -> int:
        """Visits of which it is known whether the reminder was followed."""
        return self.reminded - self.open_still


def reminder_report(now: datetime) -> Report:
    """Return what reminders of the last twelve months brought. Four queries."""
    since = now - LOOKED_BACK
    counted = _messages(since)
    visits = _visits(since)
    followed = [row for row in visits if _followed(row)]
    fresh = [row for row in visits if not _followed(row) and now - row[0] < FOLLOWS]
    return Report(
        since=since,
        by_stage=_stages(since),
        reminded=len(visits),
        followed=len(followed),
        open_still=len(fresh),
        days=_days(followed),
        **counted,
        **_owners(since),
    )


def _messages(since: datetime) -> dict[str, int]:
    return OutboxMessage.objects.filter(kind__in=ROUTINE).aggregate(
        sent=Count("pk", Q(state=State.SENT, sent_at__gte=since)),
        came_back=Count("pk", Q(bounced_at__gte=since)),
        failed=Count("pk", Q(state=State.FAILED, created_at__gte=since)),
        unknown=Count("pk", Q(state=State.UNKNOWN)),
        waiting=Count("pk", Q(state__in=[State.WAITING, State.SENDING])),
    )


def _stages(since: datetime) -> list[tuple[str, int]]:
    """Sent messages by stage, the monthly ones together, most first."""
    rows = OutboxMessage.objects.filter(kind__in=ROUTINE, state=State.SENT, sent_at__gte=since).order_by()
    found: dict[str, int] = {}
    for kind, stage, count in rows.values_list("kind", "stage").annotate(Count("pk")):
        word = "monthly" if stage.startswith("monthly") else stage or kind
        found[word] = found.get(word, 0) + count
    return sorted(found.items(), key=lambda row: (-row[1], row[0]))


VisitRow = tuple[datetime, str, datetime | None, object]


def _visits(since: datetime) -> list[tuple]:
    """(first reminder, state, closed, first due day) of the visits that an owner was reminded of."""
    sent = Q(messages__state=State.SENT, messages__kind="reminder")
    rows = Visit.objects.annotate(first=Min("messages__sent_at", filter=sent)).filter(first__gte=since)
    return list(rows.annotate(due=Min("lines__due_on")).order_by().values_list("first", "state", "closed_at", "due"))


def _followed(row: tuple) -> bool:
    first, state, closed, _ = row
    return state == Visit.State.DONE and closed is not None and closed - first <= FOLLOWS


def _days(followed: list[tuple]) -> Days | None:
    """How early or late the visits that followed were, on the workshop's calendar."""
    late = [(local_date(closed) - due).days for _, _, closed, due in followed if due is not None]
    if not late:
        return None
    return Days(median(late), min(late), max(late), sum(day < 0 for day in late), sum(day > 0 for day in late))


def _owners(since: datetime) -> dict[str, int]:
    owners = Owner.objects.filter(ownerships__until__isnull=True, ownerships__trike__state=Trike.State.DELIVERED)
    told = OdometerReading.objects.filter(source="owner", read_at__gte=since).values("trike_id")
    return owners.aggregate(
        owners=Count("pk", distinct=True),
        reporting=Count("pk", Q(ownerships__trike__in=told), distinct=True),
        stopped=Count("pk", Q(stopped_at__isnull=False), distinct=True),
        unreachable=Count("pk", Q(email_dead_at__isnull=False), distinct=True),
    )
