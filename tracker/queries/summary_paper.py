"""What the owner takes home: the summary of a card, and what comes next, in the owner's words and units."""

from datetime import datetime
from typing import Any

from tracker.models import JobCard
from tracker.queries.papers import letterhead, say_day
from tracker.queries.summaries import owner_summary


def summary_paper(card_id: int, now: datetime, *, with_owner: bool = True) -> dict[str, Any] | None:
    """Return what the summary for the owner prints, or None where there is no such card."""
    card = JobCard.objects.select_related("trike", "reading").filter(pk=card_id).first()
    if card is None:
        return None
    told = owner_summary(card, now)
    return letterhead(f"Your trike {card.trike}: what we did", now, f"Job card {card}") | {
        "number": card.number,
        "on": say_day(card.worked_at),
        "is_draft": card.state == JobCard.State.DRAFT,
        "is_cancelled": card.state == JobCard.State.CANCELLED,
        "trike": {"serial": card.trike.frame_serial, "model": card.trike.model, "plate": card.trike.plate or ""},
        "owner": told.owner.name if with_owner and told.owner else "",
        "blocks": [{"lines": list(block.lines), "is_list": block.is_list} for block in told.blocks],
        "ahead": list(told.ahead),
    }
