"""Letters: one set of facts, written as text and as HTML, with the headers that decent automatic mail carries."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from services.calendar_words import say_weekday_date
from services.identity import visible
from services.intervals import covered_tasks, say_date
from services.kinds import includes_map
from services.language import known, marked, say
from tracker.actions.appointments import KIND as APPOINTMENT
from tracker.actions.bulletin_notices import STAGE as BULLETIN
from tracker.actions.posting import Letter, sender_of
from tracker.actions.reminder_messages import QUESTION, REMINDER
from tracker.models import JobCard, OutboxMessage
from tracker.queries.appointments import offer_words
from tracker.queries.bulletin_notices import NoticeTold, notice_on
from tracker.queries.reminders import OwnerView, Told, stage_word
from tracker.queries.summaries import SUMMARY, owner_summary

# Header lines may be as long as a link: a folded link would be sent encoded, and mail programs would not know it.
POLICY = SMTP.clone(max_line_length=200)
TEMPLATES = {REMINDER: "reminder", QUESTION: "question", SUMMARY: "summary", APPOINTMENT: "appointment"}
TOLD_WHOLE = 3  # tasks: with more, what they are and why they are due fills pages nobody reads


@dataclass(frozen=True)
class Links:
    """The two addresses in a letter that belong to its reader alone; no stop where there is nothing to stop."""

    page: str
    stop: str


def write_letter(message: OutboxMessage, view: OwnerView, links: Links, now: datetime) -> Letter:
    """Return `message` as a finished letter to `view.owner`. Raises ValueError for an address no mail can carry."""
    words = words_of(message, view, links)
    if message.kind == SUMMARY:
        words |= words_of_summary(message, now)
    notice = _notice(message, view)
    if notice is not None:
        words |= {"notice": notice, "notice_day": say_date(notice.day)}
    template = "bulletin" if notice else TEMPLATES.get(message.kind, "notice")
    mail = EmailMessage(policy=POLICY)
    for name, value in _headers(message, view, links, words["subject"], now).items():
        mail[name] = value
    text, page = (visible(render_to_string(f"mail/{template}.{kind}", words)) for kind in ("txt", "html"))
    mail.set_content(text.strip() + "\n", cte="quoted-printable")
    mail.add_alternative(page, subtype="html", cte="quoted-printable")
    mail["Content-Language"] = words["language"]  # after the text: setting it clears what stood there of Content-
    return Letter(
        message_id=message.message_id,
        sender=sender_of(message.message_id),
        recipient=view.owner.email,
        content=mail.as_bytes(),
    )


def _notice(message: OutboxMessage, view: OwnerView) -> NoticeTold | None:
    """What a safety notice tells of its bulletin; None for any other message."""
    if message.stage != BULLETIN:
        return None
    return notice_on(message.payload["bulletin"], message.trike_id, view.today)


@dataclass(frozen=True)
class Entry:
    """One task of a letter, with the titles of the smaller ones that are done with it; cautions: those that stand beside it."""

    task: Told
    covers: tuple[str, ...]
    safety: bool
    cautions: tuple[str, ...] = ()

    @property
    def when(self) -> str:
        """When it is due, in words."""
        date = say_date(self.task.due_on)
        return say("was due {date}", date=date) if self.task.status == "overdue" else say("due {date}", date=date)


def entries_of(tasks: Sequence[Told]) -> list[Entry]:
    """Return the tasks of a letter; those that a larger one among them includes stand under it and not by themselves."""
    included = {task.code: covered_tasks([task.code], includes_map()) for task in tasks}
    above = [task for task in tasks if not any(task.code in within for within in included.values())]
    entries, told = [], set[str]()
    for task in above:
        below = [other for other in tasks if other.code in included[task.code] and other.title not in told]
        told |= {other.title for other in below}
        safety = task.safety or any(other.safety for other in below)
        entries.append(Entry(task, tuple(other.title for other in below), safety))
    return entries


def own_cards(entries: Sequence[Entry], tasks: Sequence[Told]) -> list[Entry]:
    """Return what owners do themselves, each with the cautions that stand beside it; a caution that several share once."""
    cards, told = [], set[str]()
    for entry in entries:
        here = [task for task in tasks if task is entry.task or task.title in entry.covers]
        cautions = dict.fromkeys(caution for task in here for caution in task.cautions if caution not in told)
        told |= set(cautions)
        cards.append(replace(entry, cautions=tuple(cautions)))
    return cards


def words_of(message: OutboxMessage, view: OwnerView, links: Links) -> dict[str, Any]:
    """Return everything both parts of the letter say.

    A few tasks are told whole. Of more, each gets a line, and the trike's page tells why. Each caution stands there once:
    beside what owners do themselves, below what the workshop does. What comes along with a larger service brings none here:
    owners do not do it, and its cautions stand on the trike's page.
    """
    work, own = entries_of(view.work), own_cards(entries_of(view.own), view.own)
    beside = {caution for card in own for caution in card.cautions}
    return {
        "view": view,
        "language": known(view.owner.language),
        "work": work,
        "own": own,
        "whole": len(work) + len(own) <= TOLD_WHOLE,
        "cautions": list(dict.fromkeys(c for entry in work for c in entry.task.cautions if c not in beside)),
        "stage": stage_word(message.stage),
        "subject": subject_of(message, view),
        "visit_on": say_date(view.visit.planned_on) if view.visit else "",
        "paragraphs": paragraphs_of(message),
        "snoozed_until": _said_day(message.payload.get("snoozed_until")),
        "read_on": _said_day(message.payload.get("read_on")),
        "links": links,
        "workshop": settings.WORKSHOP_NAME,
        "workshop_phone": settings.WORKSHOP_PHONE,
        "workshop_email": settings.WORKSHOP_EMAIL,
    }


def _said_day(stored: str | None) -> str:
    """A day kept beside a message, in words; '' where there is none."""
    return say_date(date.fromisoformat(stored)) if stored else ""


def words_of_summary(message: OutboxMessage, now: datetime) -> dict[str, Any]:
    """Return what a letter says about one signed card: its summary, and what comes next as the due list stands now."""
    card = JobCard.objects.select_related("reading").get(pk=message.payload["card"])
    told = owner_summary(card, now)
    return {"summary": told, "card": card}


_SUBJECTS = marked({
    SUMMARY: "Your trike {trike}: what we did", QUESTION: "Your trike {trike}: what does your display show?",
    "own": "Your trike {trike}: a check you can do yourself",
    "heads_up": "Your trike {trike}: service due soon, first on {date}",
    "due": "Your trike {trike}: service is due now", "overdue": "Your trike {trike}: service is overdue",
    "snoozed": "Your trike {trike}: one thing that should not wait", REMINDER: "Your trike {trike}: service",
    "agreed": "Your trike {trike}: your day at the workshop",
    "answered": "Your trike {trike}: about the day you asked for", "other": "About your trike {trike}",
})  # fmt: skip


def subject_of(message: OutboxMessage, view: OwnerView) -> str:
    """Return the subject in everyday words; of a notice the one that somebody wrote."""
    if message.payload.get("subject"):
        return say(message.payload["subject"])
    date = say_date(view.work[0].due_on) if view.work else ""
    return say(_SUBJECTS[_what(message, view)], trike=view.name, date=date)


def _what(message: OutboxMessage, view: OwnerView) -> str:
    """Which subject is right."""
    if message.kind == APPOINTMENT:
        return "agreed" if "agreed_on" in message.payload else "answered"
    if message.kind == REMINDER:
        stage = stage_word(message.stage)
        return "own" if not view.work else stage if stage in _SUBJECTS else REMINDER
    return message.kind if message.kind in {SUMMARY, QUESTION} else "other"


def paragraphs_of(message: OutboxMessage) -> list[str]:
    """Return what somebody wrote to the owner, or the answer to the day they asked for."""
    told = message.payload
    said = list(told.get("paragraphs", ()))
    if day := told.get("agreed_on"):
        agreed = say_weekday_date(date.fromisoformat(day))
        said.insert(0, say("{day} is agreed: please bring your trike to us on that day.", day=agreed))
    if day := told.get("offered_on"):
        words = offer_words(date.fromisoformat(day), date.fromisoformat(told["instead_of"]))
        said = [" ".join([words, *said])]
    return said


def _headers(message: OutboxMessage, view: OwnerView, links: Links, subject: str, now: datetime) -> dict[str, Any]:
    name, sender = parseaddr(settings.DEFAULT_FROM_EMAIL)
    headers = {
        "From": Address(name, addr_spec=sender),
        "To": Address(one_line(view.owner.name), addr_spec=view.owner.email),
        "Reply-To": Address(settings.WORKSHOP_NAME, addr_spec=settings.WORKSHOP_EMAIL),
        "Subject": one_line(subject),
        "Date": format_datetime(now.astimezone(UTC)),
        "Message-ID": message.message_id,
        "Auto-Submitted": "auto-generated",
    }
    if not links.stop:  # a single mail that was asked for, of no list
        return headers
    headers |= {
        "List-Id": f"Service reminders <service-reminders.{sender.partition('@')[2]}>",
        "List-Unsubscribe": f"<{links.stop}>",
    }
    if links.stop.startswith("https://"):  # one-click is defined for https alone (RFC 8058 section 3.1)
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers


def one_line(text: str) -> str:
    """Return `text` without line breaks and other control characters: it becomes a header."""
    return " ".join("".join(char if char.isprintable() else " " for char in visible(text)).split())
