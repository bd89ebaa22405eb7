"""What needs me today: the desk's first page."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Prefetch

from tracker.models import (
    Appointment,
    Component,
    DueLine,
    ImportBatch,
    JobCard,
    OdometerReading,
    OutboxMessage,
    Owner,
    Ownership,
    SweepRun,
)
from tracker.queries.background import Sign, signs
from tracker.queries.bulletin_pages import waiting_for_safety
from tracker.queries.clock import local_date
from tracker.queries.closing_list import agreed_while_closed
from tracker.queries.due import due_list
from tracker.queries.erasing import asked
from tracker.queries.fleet import DueTold, told
from tracker.queries.outbox import came_back
from tracker.queries.usage import suspect_readings

LATELY = timedelta(days=14)
SHOWN = 8


@dataclass(frozen=True)
class Today:
    """Counts and short lists; every list is cut, every count is whole."""

    today: date
    due_this_week: int
    due_rows: list[DueTold]
    overdue: int
    overdue_trikes: int
    suspects: int
    suspect_rows: list[OdometerReading]
    open_cards: int
    card_rows: list[JobCard]
    days_asked: int
    erase_asked: list[Owner]  # who wait for an answer, the longest waiting first
    agreed_closed: int  # agreed days on which the workshop is closed: somebody must ring
    mails_failed: int
    mails_unknown: int
    mail_rows: list[OutboxMessage]
    mails_back: int  # came back lately, and the owner cannot be reached by mail since
    back_rows: list[OutboxMessage]
    imports_waiting: list[ImportBatch]
    quarantined: list[Component]
    last_sweep: SweepRun | None
    silent: list[Sign]  # kinds of background work not heard of
    safety_parts: int  # that wait under a bulletin about a hazard
    safety_trikes: int

    @property
    def quiet(self) -> bool:
        """Whether nothing asks for anybody."""
        return not (
            self.due_this_week or self.overdue or self.suspects or self.open_cards or self.days_asked or self.agreed_closed
            or self.erase_asked or self.mails_failed or self.mails_unknown or self.mails_back or self.imports_waiting
            or self.quarantined or self.safety_parts
        )  # fmt: skip


def needs_me_today(now: datetime) -> Today:
    """Return what needs somebody today, in a fixed number of queries."""
    today = local_date(now)
    week = due_list().filter(due_on__gte=today, due_on__lt=today + timedelta(days=7))
    overdue = due_list().filter(due_on__lt=today)
    owned = Prefetch(
        "trike__ownerships", Ownership.objects.filter(until__isnull=True).select_related("owner"), "now_owned"
    )
    suspects = suspect_readings()
    cards = JobCard.objects.filter(state=JobCard.State.DRAFT).select_related("trike", "opened_by")
    bad = OutboxMessage.objects.filter(state__in=[OutboxMessage.State.FAILED, OutboxMessage.State.UNKNOWN])
    rows = list(bad.select_related("trike", "owner")[:SHOWN])
    back, (safety_parts, safety_trikes) = came_back(now), waiting_for_safety()
    return Today(
        today=today,
        due_this_week=week.count(),
        due_rows=told(list(week.prefetch_related(owned)[:SHOWN]), today),
        overdue=overdue.count(),
        overdue_trikes=DueLine.objects.filter(pk__in=overdue.order_by().values("pk")).values("trike_id").distinct().count(),
        suspects=suspects.count(),
        suspect_rows=list(suspects[:SHOWN]),
        open_cards=cards.count(),
        card_rows=list(cards[:SHOWN]),
        erase_asked=list(asked()[:SHOWN]),
        agreed_closed=agreed_while_closed(today).count(),
        days_asked=Appointment.objects.filter(state=Appointment.State.ASKED).count(),
        mails_failed=bad.filter(state=OutboxMessage.State.FAILED).count(),
        mails_unknown=bad.filter(state=OutboxMessage.State.UNKNOWN).count(),
        mail_rows=rows,
        mails_back=back.count(),
        back_rows=list(back[:SHOWN]),
        imports_waiting=list(
            ImportBatch.objects.defer("content").exclude(state__in=[ImportBatch.State.APPLIED, ImportBatch.State.REFUSED])
            .filter(uploaded_at__gt=now - LATELY)[:SHOWN]
        ),
        quarantined=list(
            Component.objects.filter(state=Component.State.QUARANTINED, part_type__kind="battery")
            .select_related("part_type")[:SHOWN]
        ),
        last_sweep=SweepRun.objects.first(),
        silent=[sign for sign in signs(now) if sign.silent],
        safety_parts=safety_parts,
        safety_trikes=safety_trikes,
    )  # fmt: skip
