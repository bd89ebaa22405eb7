"""Every kind of letter before a linter; and no link in any of them changes anything when it is merely opened."""

from collections.abc import Callable
from datetime import date
from email.message import EmailMessage
from email.policy import SMTP

import pytest
import time_machine
from django.apps import apps
from django.test import Client

from tests import factories as make
from tests.mail_lint import faults, links_of, parsed
from tests.reminders.conftest import DUE, Postbox, days, dispatch_all, fit, html_of, some_task, text_of, trike_with
from tests.reminders.test_summary_mail import signed
from tracker.actions.appointments import decide_appointment
from tracker.actions.found import tell_workshop
from tracker.actions.reminders import sweep_trikes
from tracker.actions.summaries import mail_summary
from tracker.models import JobCard, OutboxMessage

pytestmark = pytest.mark.django_db
HTTPS = "https://service.example.org"
NAMES = {"name": "Zoë Ångström-Łukasiewicz & <Söhne>", "distance_unit": "mi"}


@pytest.fixture(autouse=True)
def public_url(settings):
    settings.PUBLIC_URL = HTTPS


def reminder(day: int, *tasks) -> Callable[[Postbox], None]:
    def write(postbox: Postbox) -> None:
        trike = trike_with(tasks[0] if tasks else some_task(), owner=make.OwnerFactory(**NAMES))
        for task in tasks[1:]:
            fit(trike, task)
        sweep_trikes(trike_ids=[trike.pk], now=DUE + days(day))
        dispatch_all(postbox, OutboxMessage.objects.get().not_before)

    return write


def written(kind: str, **payload) -> Callable[[Postbox], None]:
    def write(postbox: Postbox) -> None:
        owner = make.OwnerFactory(**NAMES)
        make.OutboxMessageFactory(
            trike=trike_with(some_task(), owner=owner), owner=owner, kind=kind, payload=payload, not_before=DUE
        )
        dispatch_all(postbox, DUE)

    return write


def summary(postbox: Postbox) -> None:
    card: JobCard = signed(DUE, NAMES)
    mail_summary(card_id=card.pk, now=DUE)
    dispatch_all(postbox, DUE)


def answered(choice: str, **more) -> Callable[[Postbox], None]:
    """The answer to a day that was asked for: Tuesday 12 May 2026."""

    def write(postbox: Postbox) -> None:
        owner = make.OwnerFactory(**NAMES)
        visit = make.VisitLineFactory(visit__trike=trike_with(some_task(), owner=owner)).visit
        row = make.AppointmentFactory(trike=visit.trike, owner=owner, visit=visit)
        decide_appointment(appointment_id=row.pk, choice=choice, by=None, now=DUE, **more)
        dispatch_all(postbox, OutboxMessage.objects.get().not_before)

    return write


def found(postbox: Postbox) -> None:
    tell_workshop(trike_id=make.TrikeFactory().pk, where="At the café, behind Łódź's gate", reach="+44 20", now=DUE)
    dispatch_all(postbox, DUE)


MANY = (some_task(safety=True), some_task(safety=False), some_task(owner_can=True))
SAFETY = {"subject": "Do not charge the battery", "paragraphs": ["Stop using it until 3 May 2026.", "Call us <now>."]}
LETTERS = {
    "heads-up": reminder(-10), "due": reminder(0), "overdue": reminder(30), "many tasks": reminder(0, *MANY),
    "what owners do themselves": reminder(0, some_task(owner_can=True)), "question": written("question"),
    "safety notice": written("safety", **SAFETY), "summary": summary, "found": found,
    "day agreed": answered("confirm", answer="Bring the <charger> & both keys."),
    "day offered": answered("offer", on=date(2026, 5, 14), answer="Mika is away on 12 May."),
    "day declined": answered("decline", answer="We are at a fair until 15 May 2026."),
}  # fmt: skip
TO_ONE = {
    "summary",
    "found",
    "day agreed",
    "day offered",
    "day declined",
}  # asked for, or to the desk: nothing to get off


@pytest.fixture
def letter(kind, postbox) -> bytes:
    with time_machine.travel(DUE, tick=False):
        LETTERS[kind](postbox)
    assert len(postbox.letters) == 1
    return postbox.letters[0].content


@pytest.mark.parametrize("kind", LETTERS)
def test_the_linter_has_nothing_to_say(kind, letter):
    assert faults(letter, to_a_list=kind not in TO_ONE) == []


def test_both_parts_name_the_same_tasks(postbox):
    LETTERS["many tasks"](postbox)
    mail = parsed(postbox.letters[0].content)
    for task in MANY:
        assert task.title in text_of(mail)
        assert task.title in html_of(mail)


def everything() -> dict[str, list]:
    """Every row of every table of the record."""
    return {
        model.__name__: list(model.objects.order_by("pk").values())
        for model in apps.get_app_config("tracker").get_models()
    }


@pytest.mark.parametrize("kind", sorted(set(LETTERS) - {"found"}))  # its link leads to the desk, behind the login
def test_opening_its_links_changes_nothing(kind, letter):
    mail = parsed(letter)
    links = {*links_of(html_of(mail)), (mail["List-Unsubscribe"] or "").strip("<>")} - {""}
    before = everything()
    assert links
    with time_machine.travel(DUE, tick=False):
        for link in links:
            for client in (Client(), Client(HTTP_USER_AGENT="a scanner")):
                answer = client.get(link.removeprefix(HTTPS), follow=True)
                assert answer.status_code == 200, link
                assert client.head(link.removeprefix(HTTPS)).status_code < 500
    assert everything() == before


GOOD = (
    b"From: a@example.org\r\nTo: b@example.org\r\nSubject: x\r\nDate: Fri, 01 May 2026 10:00:00 +0000\r\nMessage-ID: <1@x>\r\n"
    b"MIME-Version: 1.0\r\nAuto-Submitted: auto-generated\r\nContent-Language: en\r\nContent-Type: text/plain\r\n\r\nx\r\n"
)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b"Content-Language: en\r\n", b"", "Content-Language"),
        (b"auto-generated", b"no", "RFC 3834"),
        (b"\r\nx\r\n", b"\r\n" + b"x" * 999 + b"\r\n", "998"),
        (b"\r\nx\r\n", b"\r\nx\ny\r\n", "bare"),
        (b"\r\nx\r\n", "\r\nö\r\n".encode(), "ASCII"),
    ],
)
def test_the_linter_finds_what_is_wrong(old, new, words):
    assert faults(GOOD, to_a_list=False) == []
    assert any(words in fault for fault in faults(GOOD.replace(old, new), to_a_list=False))


def test_the_linter_finds_a_letter_nobody_can_stop():
    assert len(faults(GOOD, to_a_list=True)) == 3


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("1 May 2026", "2 May 2026", "dates"), ("1,200 km", "1,300 km", "distances"), ("/o/x", "/o/y", "links"),
        ("max-width: 600px", "max-width: 900px", "600 px"), ("</p>", "", "out of order"),
        ("margin: 0", "color: #000", "in the dark"), ("color-scheme: light dark", "", "dark"),
        ("<p>", '<p><img src="x">', "fetches"), ('lang="en"', 'lang="de"', "language"),
    ],
)  # fmt: skip
def test_the_linter_finds_a_page_that_says_or_looks_otherwise(old, new, words):
    page = (
        '<html lang="en"><head><meta name="color-scheme" content="light dark"><style>:root { color-scheme: light dark; }'
        " body { margin: 0; max-width: 600px; }</style></head>"
        '<body><p>Due 1 May 2026 at 1,200 km: <a href="https://x.org/o/x">page</a></p></body></html>'
    )

    def mail(page: str) -> bytes:
        made = EmailMessage(policy=SMTP)
        for name, value in {"From": "a@example.org", "To": "b@example.org", "Subject": "x", "Message-ID": "<1@x>",
                            "Date": "Fri, 01 May 2026 10:00:00 +0000", "Auto-Submitted": "auto-generated"}.items():  # fmt: skip
            made[name] = value
        made.set_content("Due 1 May 2026 at 1,200 km:\nhttps://x.org/o/x\n")
        made.add_alternative(page, subtype="html")
        made["Content-Language"] = "en"
        return made.as_bytes()

    assert faults(mail(page), to_a_list=False) == []
    assert any(words in fault for fault in faults(mail(page.replace(old, new, 1)), to_a_list=False))
