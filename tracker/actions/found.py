"""A found trike: what the finder writes goes to the workshop by mail and stands nowhere else once it went out."""

import hashlib
from datetime import UTC, datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime, parseaddr

from django.conf import settings

from services.identity import clean_text, visible
from services.language import say
from tracker.actions.hand_on import KIND as HAND_ON
from tracker.actions.hand_on import hand_on_words
from tracker.actions.letters import POLICY, one_line
from tracker.actions.posting import Letter, new_message_id, sender_of
from tracker.actions.refusals import Invalid, NotEnough
from tracker.actions.transactions import action
from tracker.models import OutboxMessage, Trike
from tracker.queries.reminders import trike_name

KIND = "found"
TO_DESK = {KIND, HAND_ON}  # words of people outside, for the workshop itself
MOST_WORDS, MOST_REACH = 500, 200


@action
def tell_workshop(*, trike_id: int, where: str, reach: str = "", now: datetime) -> OutboxMessage:
    """Pass a finder's words on to the workshop, once: the same words again on the same day send no second mail.

    Raises NotEnough, Invalid, BadText.
    """
    words, contact = clean_text(where, MOST_WORDS).strip(), clean_text(reach, MOST_REACH).strip()
    if not words:
        raise NotEnough(
            say("Please tell us where it is."), field="where", remedy=say("A street, a place, anything that helps.")
        )
    if not Trike.objects.filter(pk=trike_id).exists():
        raise Invalid(say("This label is not in use any more."), field="where", remedy=say("Please call us."))
    said = hashlib.sha256(f"{words}\n{contact}".encode()).hexdigest()[:16]
    message, _ = OutboxMessage.objects.get_or_create(
        key=f"found:{trike_id}:{now.astimezone(UTC):%Y-%m-%d}:{said}",
        defaults={
            "kind": KIND, "trike_id": trike_id, "payload": {"where": words, "reach": contact}, "not_before": now,
            "created_at": now, "message_id": new_message_id(),
        },
    )  # fmt: skip
    return message


def write_desk_letter(message: OutboxMessage, now: datetime) -> Letter:
    """Return the mail to the desk. A stolen trike is called so in its subject: the finder's page did not tell."""
    subject, text = hand_on_words(message) if message.kind == HAND_ON else _found_words(message)
    name_of_us, sender = parseaddr(settings.DEFAULT_FROM_EMAIL)
    mail = EmailMessage(policy=POLICY)
    mail["From"] = Address(name_of_us, addr_spec=sender)
    mail["To"] = Address(settings.WORKSHOP_NAME, addr_spec=settings.WORKSHOP_EMAIL)
    mail["Subject"] = one_line(subject)
    mail["Date"] = format_datetime(now.astimezone(UTC))
    mail["Message-ID"] = message.message_id
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(visible(text), cte="quoted-printable")
    mail["Content-Language"] = "en"
    back = sender_of(message.message_id)
    return Letter(
        message_id=message.message_id, sender=back, recipient=settings.WORKSHOP_EMAIL, content=mail.as_bytes()
    )


def _found_words(message: OutboxMessage) -> tuple[str, str]:
    """Subject and text of the mail about a found trike."""
    trike = message.trike
    name = trike_name(trike)
    subject = f"STOLEN trike found: {name}" if trike.stolen_on else f"Trike found: {name}"
    return subject, _text(message, trike)


def _text(message: OutboxMessage, trike: Trike) -> str:
    told = [f"Somebody scanned the label of trike {trike} and wrote to us."]
    if trike.stolen_on:
        told.append(
            f"STOLEN: reported on {trike.stolen_on:%d %b %Y}. {trike.stolen_note}".strip()
            + "\nThe page did not say so. Call the owner and the police before anybody goes there."
        )
    told.append(f"Where it is:\n{message.payload.get('where', '')}")
    told.append(f"How to reach the finder:\n{message.payload.get('reach') or 'nothing given'}")
    told.append(f"The trike: {settings.PUBLIC_URL}/trikes/{trike.pk}/")
    told.append("These words stand in this mail alone: the record keeps none of them.")
    return "\n\n".join(told) + "\n"
