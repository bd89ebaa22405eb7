"""What the owner takes home: the summary of a card, and what comes next, in the owner's language and units."""

from datetime import datetime
from typing import Any

from django.conf import settings

from services.language import ENGLISH, say
from tracker.language import in_language
from tracker.models import JobCard
from tracker.queries.papers import letterhead, say_day
from tracker.queries.summaries import OwnerSummary, owner_summary


def summary_paper(card_id: int, now: datetime, *, with_owner: bool = True) -> dict[str, Any] | None:
    """Return what the summary for the owner prints, or None where there is no such card."""
    card = JobCard.objects.select_related("trike", "reading").filter(pk=card_id).first()
    if card is None:
        return None
    told = owner_summary(card, now)
    with in_language(told.owner.language if told.owner else ENGLISH):
        return _paper(told, now, told.owner.name if with_owner and told.owner else "")


def _paper(told: OwnerSummary, now: datetime, owner: str) -> dict[str, Any]:
    card, trike = told.card, told.card.trike
    of = say("Job card {number}", number=card.number)
    return letterhead(say("Your trike {trike}: what we did", trike=trike), now, of) | {
        "words": _words(),
        "number": card.number,
        "on": say_day(card.worked_at),
        "is_draft": card.state == JobCard.State.DRAFT,
        "is_cancelled": card.state == JobCard.State.CANCELLED,
        "trike": {"serial": trike.frame_serial, "model": trike.model, "plate": trike.plate or ""},
        "owner": owner,
        "blocks": [{"lines": list(block.lines), "is_list": block.is_list} for block in told.blocks],
        "ahead": list(told.ahead),
    }


def _words() -> dict[str, str]:
    """The paper's own words. The telephone number stays on one line."""
    phone = settings.WORKSHOP_PHONE.replace(" ", "\N{NO-BREAK SPACE}")
    return {
        "heading": say("Your trike: what we did"), "for": say("For"), "trike": say("Trike"), "plate": say("plate label"),
        "day": say("Day"), "card": say("Job card"), "draft": say("Not finished yet."),
        "draft_more": say("This tells how the work stands; the card is not signed."),
        "cancelled": say("This card was cancelled."), "cancelled_more": say("Nothing on it counts."),
        "next": say("What comes next"), "no_next": say("Nothing is scheduled."),
        "call": say(
            "Anything unclear, or something does not feel right on the next ride? Call us before you ride on: {phone}, or "
            "write to {email}.", phone=phone, email=settings.WORKSHOP_EMAIL,
        ),
    }  # fmt: skip
