"""Components under bulletins, as every floor above asks for them."""

from django.db.models import Q, QuerySet

from services.bulletin_due import Terms
from services.kinds.from_bulletin import code_of
from tracker.models import Bulletin, BulletinPart
from tracker.models.bulletins import OPEN_STATES

IS_OPEN = Q(state__in=OPEN_STATES)


def open_parts() -> QuerySet[BulletinPart]:
    """Return the components that a released bulletin still asks something of."""
    return BulletinPart.objects.filter(IS_OPEN, bulletin__state=Bulletin.State.RELEASED)


def asking_parts() -> QuerySet[BulletinPart]:
    """Return those, and the ones done whose work a repetitive bulletin asks for again."""
    again = Q(next_due_on__isnull=False) | Q(next_due_km__isnull=False)
    return BulletinPart.objects.filter(IS_OPEN | again & ~Q(state="scrapped"), bulletin__state=Bulletin.State.RELEASED)


def terms_of(bulletin: Bulletin) -> Terms:
    """Return by when a bulletin wants its work done."""
    return Terms(
        bulletin.severity, bulletin.is_hazard, bulletin.deadline_on, bulletin.deadline_km, bulletin.every_months,
        bulletin.every_km,
    )  # fmt: skip


def task_code(bulletin: Bulletin) -> str:
    """Return the code under which a bulletin's work stands on due lists, job cards and completions."""
    return code_of(bulletin.number, bulletin.minutes, terms_of(bulletin).is_safety)
