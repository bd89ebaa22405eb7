"""Signs of life: each kind of background process writes every minute that it works."""

from datetime import datetime, timedelta

from tracker.actions.transactions import action
from tracker.models import Heartbeat

NOT_MORE_OFTEN = timedelta(seconds=45)  # several processes of a kind share a row


@action
def sign_of_life(*, name: str, now: datetime) -> bool:
    """Write that a process of kind `name` is at work; return whether it was time to."""
    row, made = Heartbeat.objects.get_or_create(name=name, defaults={"at": now})
    if made:
        return True
    return bool(Heartbeat.objects.filter(pk=row.pk, at__lt=now - NOT_MORE_OFTEN).update(at=now))
