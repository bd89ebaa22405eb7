"""Safety notices of hazard bulletins: one letter per bulletin, trike and owner, and what became of it.

They go to everybody, also to who stopped reminders, and say why. Who is not reached by mail stands on the desk's list with
a phone number. Steps: they open no transaction of their own.
"""

from collections.abc import Iterable
from datetime import datetime

from services.bulletins import HEADLINE
from tracker.actions.bulletin_steps import move_parts, open_on
from tracker.actions.posting import new_message_id
from tracker.models import Bulletin, BulletinNotice, Fitment, OutboxMessage, Ownership, Trike, User
from tracker.queries.bulletins import open_parts

SAFETY = "safety"
STAGE = "bulletin"
SENT, FAILED = OutboxMessage.State.SENT, OutboxMessage.State.FAILED


def write_notices(bulletin: Bulletin, now: datetime, trike_ids: Iterable[int] | None = None) -> int:
    """Write the notices that owners of trikes with an open part have not got yet; return how many letters are new.

    trike_ids: only these trikes. A bulletin without a hazard writes none: reminders tell of its work.
    """
    if not bulletin.is_hazard or bulletin.state != Bulletin.State.RELEASED:
        return 0
    told = set(BulletinNotice.objects.filter(bulletin=bulletin).values_list("trike_id", "owner_id"))
    owned = [pair for pair in _owned(bulletin, trike_ids) if pair not in told]
    OutboxMessage.objects.bulk_create(
        (_message(bulletin, trike_id, owner_id, now) for trike_id, owner_id in owned),
        batch_size=500, ignore_conflicts=True,
    )  # fmt: skip
    keys = {_key(bulletin, *pair): pair for pair in owned}
    messages = dict(OutboxMessage.objects.filter(key__startswith=_key(bulletin)).values_list("key", "pk"))
    BulletinNotice.objects.bulk_create(
        (
            BulletinNotice(bulletin=bulletin, trike_id=pair[0], owner_id=pair[1], message_id=messages[key], written_at=now)
            for key, pair in keys.items()
        ),
        batch_size=500, ignore_conflicts=True,
    )  # fmt: skip
    return len(owned)


def _owned(bulletin: Bulletin, trike_ids: Iterable[int] | None) -> list[tuple[int, int]]:
    """(trike, present owner) of every trike that carries an open part."""
    parts = open_parts().filter(bulletin=bulletin).order_by().values("component_id")
    here = Fitment.objects.current().filter(component_id__in=parts).order_by().values("trike_id")
    owned = Ownership.objects.filter(until__isnull=True, trike_id__in=here).exclude(trike__state=Trike.State.RETIRED)
    if trike_ids is not None:
        owned = owned.filter(trike_id__in=list(trike_ids))
    return list(owned.order_by("trike_id").values_list("trike_id", "owner_id"))


def _key(bulletin: Bulletin, *pair: int) -> str:
    return ":".join(["bulletin", bulletin.number, *map(str, pair)]) + ("" if pair else ":")


def _message(bulletin: Bulletin, trike_id: int, owner_id: int, now: datetime) -> OutboxMessage:
    return OutboxMessage(
        key=_key(bulletin, trike_id, owner_id), kind=SAFETY, stage=STAGE, trike_id=trike_id, owner_id=owner_id,
        message_id=new_message_id(), not_before=now, created_at=now,
        payload={"subject": HEADLINE, "bulletin": bulletin.pk},
    )  # fmt: skip


def tell_of_hazards(trike_ids: Iterable[int], now: datetime) -> int:
    """Write what the present owners of these trikes have not been told yet, of every hazard bulletin; return how many letters.

    For a part that came under a bulletin later, one that was fitted, and a new owner.
    """
    ids = list(trike_ids)
    here = Fitment.objects.current().filter(trike_id__in=ids).values("component_id")
    hazards = open_parts().filter(component_id__in=here, bulletin__is_hazard=True).order_by().values("bulletin_id")
    return sum(write_notices(row, now, ids) for row in Bulletin.objects.filter(pk__in=hazards).order_by("pk"))


def follow_letter(message: OutboxMessage, *, reached: bool, now: datetime) -> None:
    """Move the open parts of a notice's bulletin on its trike: notified once it is sent, unreachable where it is not."""
    if message.kind != SAFETY or message.stage != STAGE or message.trike_id is None:
        return
    told(message.payload["bulletin"], message.trike_id, reached=reached, now=now, by=None)


def told(bulletin_id: int, trike_id: int, *, reached: bool, now: datetime, by: User | None, note: str = "") -> None:
    """Move the open parts of a bulletin on a trike to notified, or to unreachable; those that have come further stay."""
    before = {"affected", "unreachable"} if reached else {"affected", "notified"}
    parts = [part for part in open_on(trike_id, bulletin_id) if part.state in before]
    after = "notified" if reached else "unreachable"
    move_parts(parts, after, at=now, now=now, by=by, note=note, on_trike=trike_id)


def not_wanted(message: OutboxMessage) -> str:
    """Why a notice should not go out any more, or an empty text."""
    if message.stage != STAGE or message.trike_id is None:
        return ""
    bulletin = Bulletin.objects.filter(pk=message.payload["bulletin"]).first()
    if bulletin is None or bulletin.state != Bulletin.State.RELEASED:
        return "The bulletin was closed or withdrawn."
    here = Fitment.objects.components_on(message.trike_id)
    if not open_parts().filter(bulletin=bulletin, component_id__in=here).exists():
        return "The part was put right meanwhile, or sits on this trike no longer."
    return ""


def drop_notices(bulletin: Bulletin, why: str) -> None:
    """Drop the notices of a bulletin that still wait."""
    rows = OutboxMessage.objects.filter(bulletin_notice__bulletin=bulletin, state=OutboxMessage.State.WAITING)
    rows.update(state=OutboxMessage.State.DROPPED, last_error=why)
