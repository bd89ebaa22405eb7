"""The summary for the owner: written while the card is a draft, mailed on request once it is signed, once."""

from datetime import datetime

from services.identity import clean_text
from services.summary import LONGEST
from tracker.actions.card_steps import draft_card, touch
from tracker.actions.posting import new_message_id
from tracker.actions.refusals import WrongState
from tracker.actions.release_refusals import NoAddress
from tracker.actions.steps import lock_version
from tracker.actions.transactions import action
from tracker.models import JobCard, OutboxMessage, Owner, User
from tracker.queries.reminders import owns
from tracker.queries.summaries import SUMMARY, message_key, owner_then


@action
def write_summary(*, card_id: int, version: int | None, text: str, by: User | None = None, now: datetime) -> JobCard:
    """Write the owner's summary of a draft in one's own words; empty: the workshop's own proposal counts again.

    Raises StaleVersion, CardAlreadySigned, BadText.
    """
    card = draft_card(card_id, version)
    card.summary = clean_text(text.replace("\r\n", "\n"), LONGEST)
    return touch(card, "summary")


@action
def mail_summary(*, card_id: int, by: User | None = None, now: datetime) -> OutboxMessage:
    """Put the summary of a signed card into the outbox, for the owner of that day. Asked for again, nothing more happens.

    It is asked for and no reminder: it needs no consent to reminders and keeps no quiet hours. Raises WrongState (not
    signed), NoAddress (no owner, another one since, no mail address, or a dead one).
    """
    card = lock_version(JobCard, card_id, None)
    if card.state != JobCard.State.SIGNED:
        raise WrongState(
            f"Job card {card} is not signed.", field="card", remedy="Sign it first, then mail its summary."
        )
    owner = _reachable_owner(card)
    message, _ = OutboxMessage.objects.get_or_create(
        key=message_key(card.pk),
        defaults={
            "kind": SUMMARY, "trike_id": card.trike_id, "owner": owner, "message_id": new_message_id(),
            "payload": {"card": card.pk, "asked_by": by.pk if by else None}, "not_before": now, "created_at": now,
        },
    )  # fmt: skip
    return message


def _reachable_owner(card: JobCard) -> Owner:
    owner = owner_then(card)
    if owner is None:
        raise NoAddress("Nobody owned the trike then.", field="owner", remedy="Print the summary instead.")
    if not owns(owner.pk, card.trike_id):
        raise NoAddress(
            "The trike has another owner since.", field="owner", remedy="Print the summary for who asked for the work."
        )
    if not owner.email:
        raise NoAddress(
            "The owner has no mail address.",
            field="owner",
            remedy="Enter one on the owner's page, or print the summary.",
        )
    if owner.email_dead_at is not None:
        raise NoAddress(
            "Mail to the owner's address does not arrive.", field="owner",
            remedy="Ask for the right address and enter it, or print the summary.",
        )  # fmt: skip
    return owner
