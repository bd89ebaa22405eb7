"""An owner sells or gives the trike away: their words go to the desk by mail. Nothing is transferred by itself."""

import hashlib
from datetime import UTC, datetime

from django.conf import settings

from services.identity import clean_text
from services.language import say
from tracker.actions.posting import new_message_id
from tracker.actions.refusals import NotEnough
from tracker.actions.transactions import action
from tracker.models import OutboxMessage, OwnerLink

KIND = "hand_on"
MOST_WORDS = 500


@action
def ask_to_hand_on(*, link: OwnerLink, words: str, now: datetime) -> OutboxMessage:
    """Tell the desk that the trike is to pass to somebody else; the same words on one day go out once.

    The outbox forgets the words when the mail is sent: they name a third person. Raises NotEnough, BadText.
    """
    said = clean_text(words, MOST_WORDS).strip()
    if not said:
        raise NotEnough(
            say("Who gets it?"),
            field="words",
            remedy=say("A name, a phone number or an address, and from which day on."),
        )
    seal = hashlib.sha256(said.encode()).hexdigest()[:16]
    message, _ = OutboxMessage.objects.get_or_create(
        key=f"hand_on:{link.trike_id}:{now.astimezone(UTC):%Y-%m-%d}:{seal}",
        defaults={
            "kind": KIND, "trike_id": link.trike_id, "payload": {"words": said, "owner": link.owner_id},
            "not_before": now, "created_at": now, "message_id": new_message_id(),
        },
    )  # fmt: skip
    return message


def hand_on_words(message: OutboxMessage) -> tuple[str, str]:
    """Return subject and text of the mail to the desk."""
    trike = message.trike
    subject = f"Trike {trike} is to be handed on"
    lines = [
        f"The owner of trike {trike} wrote on their page that somebody else is to have it.",
        f"Their words:\n{message.payload.get('words', '')}",
        f"Nothing has changed by itself. Ask the owner, then pass it on:\n"
        f"{settings.PUBLIC_URL}/trikes/{trike.pk}/owner/",
        "These words stand in this mail alone: the record keeps none of them.",
    ]
    return subject, "\n\n".join(lines) + "\n"
