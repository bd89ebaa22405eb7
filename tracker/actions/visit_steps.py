"""Steps that end what the workshop had planned with a trike's owner. They open no transaction of their own."""

from datetime import datetime

from django.db.models import F

from tracker.models import Appointment, OutboxMessage, Visit
from tracker.queries.appointments import OPEN


def drop_visit(trike_id: int, now: datetime) -> None:
    """Close the open visit of a trike as no longer needed, with the day asked for; a subscribed calendar shows it cancelled."""
    Appointment.objects.filter(trike_id=trike_id, state__in=OPEN).update(
        state=Appointment.State.WITHDRAWN, decided_at=now, answer="The visit is no longer needed."
    )
    Visit.objects.filter(trike_id=trike_id, state=Visit.State.OPEN).update(
        state=Visit.State.DROPPED, closed_at=now, sequence=F("sequence") + 1
    )


def drop_reminders(trike_id: int, why: str) -> int:
    """Drop the reminders and questions about a trike that wait to be sent; return how many. Safety notices stay."""
    routine = OutboxMessage.objects.filter(trike_id=trike_id, kind__in=["reminder", "question", "appointment"])
    waiting = routine.filter(state=OutboxMessage.State.WAITING)
    return waiting.update(state=OutboxMessage.State.DROPPED, last_error=why)
