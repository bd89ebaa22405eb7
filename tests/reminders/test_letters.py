import html
import re
from datetime import UTC
from email.utils import parsedate_to_datetime

import pytest

from services.kinds import all_tasks, kind_of_task
from services.kinds import task as task_of
from services.positions import POSITIONS
from tests import factories
from tests.reminders.conftest import DUE, days, dispatch_all, fit, html_of, some_task, text_of, trike_with
from tracker.actions.letters import one_line
from tracker.actions.reminders import sweep_trikes
from tracker.models import OutboxMessage, Owner

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def public_url(settings):
    settings.PUBLIC_URL = "https://service.example.org"


@pytest.fixture
def letter(postbox):
    """Return the mail that goes to an owner with these traits, at `now`."""

    def written(now=DUE, *tasks, **owner):
        tasks = tasks or (some_task(),)
        trike = trike_with(tasks[0], owner=factories.OwnerFactory(**owner))
        for task in tasks[1:]:
            fit(trike, task)
        sweep_trikes(trike_ids=[trike.pk], now=now)
        dispatch_all(postbox, OutboxMessage.objects.latest("pk").not_before)
        return postbox.mails[-1]

    return written


def lint(content: bytes, mail) -> list[str]:
    """What a mail program or a mailbox provider would object to."""
    faults = [f"defect: {defect}" for part in mail.walk() for defect in part.defects]
    faults += [f"header defect in {name}" for name, value in mail.items() if value.defects]
    lines = content.split(b"\r\n")
    faults += ["line over 998 octets (RFC 5322 section 2.1.1)" for line in lines if len(line) > 998]
    faults += ["bare line break" for line in lines if b"\n" in line or b"\r" in line]
    faults += ["octets beyond ASCII" for line in lines if not line.isascii()]
    for name in ("From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Auto-Submitted", "List-Id"):
        if len(mail.get_all(name, [])) != 1:
            faults.append(f"{name} is not there exactly once")
    if re.fullmatch(r"<https://[^<>,\s]+>", mail["List-Unsubscribe"]) is None:
        faults.append("List-Unsubscribe is not one https address (RFC 8058 section 3.1)")
    if mail["List-Unsubscribe-Post"] != "List-Unsubscribe=One-Click":
        faults.append("List-Unsubscribe-Post is not the words of RFC 8058 section 3.1")
    if [part.get_content_type() for part in mail.walk()] != ["multipart/alternative", "text/plain", "text/html"]:
        faults.append("the parts are not text first, HTML last (RFC 2046 section 5.1.4)")
    page = html_of(mail)
    faults += [
        f"the HTML fetches or runs {found}" for found in re.findall(r"<(?:img|script|link|iframe)\b|url\(", page)
    ]
    return faults


def test_a_letter_has_nothing_a_mail_program_would_object_to(letter, postbox):
    mail = letter(name="Zoë Ångström-Łukasiewicz")
    assert lint(postbox.letters[0].content, mail) == []


def test_headers_say_who_why_and_how_to_stop(letter):
    mail = letter()
    message = OutboxMessage.objects.get()
    assert mail["Message-ID"] == message.message_id
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834 section 5
    assert mail["List-Id"].endswith("<service-reminders.larkfen.example.org>")
    assert parsedate_to_datetime(mail["Date"]) == DUE.astimezone(UTC)
    assert mail["To"].addresses[0].addr_spec == message.owner.email


def test_without_https_one_click_is_not_promised(letter, settings):
    settings.PUBLIC_URL = "http://127.0.0.1:8000"
    mail = letter()
    assert mail["List-Unsubscribe"].startswith("<http://127.0.0.1:8000/o/stop/")
    assert mail["List-Unsubscribe-Post"] is None


def words_of(text: str) -> set[str]:
    return set(re.findall(r"[^\W_]+(?:[.,'’-][^\W_]+)*", text))


def test_both_parts_say_the_same(letter):
    safety, owner = some_task(safety=True), some_task(owner_can=True)
    mail = letter(DUE, safety, owner)
    body = html_of(mail).split("<body>")[1]
    links = re.findall(r'href="([^"]+)"', body)
    shown = html.unescape(re.sub(r"<[^>]+>", " ", body)) + " ".join(links)
    assert words_of(text_of(mail)) == words_of(shown)


def test_every_task_says_why_it_is_due_in_numbers_and_everyday_words(letter):
    task = some_task()
    text = text_of(letter(DUE, task))
    assert task.title in text
    assert task.plain in text
    assert "1 May 2026" in text


def test_work_that_can_hurt_comes_with_its_caution(letter):
    task = some_task(safety=True)
    mail = letter(DUE, task)
    for part in (text_of(mail), html_of(mail)):
        assert "matters for your safety" in part
        assert "Caution:" in part


def test_the_workshop_says_its_name_and_phone(letter, settings):
    text = text_of(letter())
    assert settings.WORKSHOP_NAME in text
    assert settings.WORKSHOP_PHONE in text


@pytest.mark.parametrize(
    ("day", "subject", "opening"),
    [
        (-10, "service due soon, first on 1 May 2026", "will be due for service soon"),
        (0, "service is due now", "is due for service now"),
        (30, "service is overdue", "is overdue for service"),
    ],
)
def test_the_stage_is_told_in_everyday_words(letter, day, subject, opening):
    mail = letter(DUE + days(day))
    assert mail["Subject"].endswith(subject)
    assert opening in text_of(mail)


def test_what_owners_do_themselves_is_not_called_a_visit(letter):
    mail = letter(DUE, some_task(owner_can=True))
    assert mail["Subject"].endswith("a check you can do yourself")
    assert "We suggest one visit" not in text_of(mail)


@pytest.mark.parametrize("unit", ["km", "mi"])
def test_distances_are_in_the_owners_unit(letter, unit):
    task = some_task()
    factories.ServiceIntervalFactory(task=task.code, part_kind=task.on, every_km=5000, every_months=12)
    text = text_of(letter(DUE, task, distance_unit=unit))
    assert set(re.findall(r"[0-9] (km|mi)\b", text)) == {unit}


def test_the_letter_is_written_on_the_owners_calendar(letter):
    """At 10:00 in London on 30 April it is 1 May at 10:00 on Kiritimati, where the service is due already."""
    owner = {"time_zone": "Pacific/Kiritimati"}
    mail = letter(DUE.replace(month=4, day=30, hour=20), **owner)
    assert mail["Subject"].endswith("service is due now")


def test_a_name_with_line_breaks_cannot_add_a_header(letter):
    mail = letter(name="Robin\r\nBcc: everybody@example.org")
    assert mail["Bcc"] is None
    assert Owner.objects.count() == 1


def test_markup_in_a_name_is_shown_and_not_run(letter):
    mail = letter(name="<script>alert(1)</script>")
    assert "<script>" not in html_of(mail)
    assert "&lt;script&gt;" in html_of(mail)
    assert "<script>alert(1)</script>" in text_of(mail)


def test_no_letter_carries_the_token_into_the_database(letter):
    link = re.search(r"/o/(\S{43})\s", text_of(letter())).group(1)
    message = OutboxMessage.objects.get()
    assert link not in str(message.payload)


def test_headers_take_one_line_of_printable_text():
    assert one_line("a\r\n b\x00\tc") == "a b c"


def test_a_name_that_turns_the_direction_of_text_is_written_out(letter, postbox):
    mail = letter(name="Robin \u202enomreg")
    for part in (text_of(mail), html_of(mail), mail["To"]):
        assert "\u202e" not in part
        assert "Robin [U+202E]nomreg" in part
    assert lint(postbox.letters[0].content, mail) == []


AFTER = {"after_crash", "after_submersion", "after_lay_up"}  # due by what happened, not by an interval
SINGLE = [task for task in all_tasks() if not task.includes and task.code not in AFTER]


@pytest.fixture
def long_letter(postbox):
    """Return the mail about a trike on which all of these tasks are due."""

    def written(*tasks):
        trike = factories.OwnershipFactory(owner=factories.OwnerFactory(distance_unit="km")).trike
        for kind in {task.on for task in tasks}:
            place = next(code for code, position in POSITIONS.items() if kind in position.part_kinds)
            part = factories.ComponentFactory(part_type__kind=kind, state="fitted")
            factories.FitmentFactory(trike=trike, component=part, position=place)
        for task in tasks:
            factories.ServiceIntervalFactory(
                task=task.code, part_kind=task.on, every_km=None, every_months=12, early_km=0
            )
        sweep_trikes(trike_ids=[trike.pk], now=DUE)
        dispatch_all(postbox, OutboxMessage.objects.latest("pk").not_before)
        return postbox.mails[-1]

    return written


def test_twelve_tasks_are_told_on_one_page(long_letter):
    """Nine for the workshop, three for the owner, none part of another: at most 40 lines (design rule, no source)."""
    tasks = [t for t in SINGLE if not t.owner_can][:9] + [t for t in SINGLE if t.owner_can][:3]
    text = text_of(long_letter(*tasks))
    assert all(f"* {task.title}, due 1 May 2026" in text for task in tasks)
    assert len(text.splitlines()) <= 40


def test_a_caution_that_several_tasks_share_stands_there_once(long_letter):
    mail = long_letter(task_of("tyres_check"), task_of("tyre_pressure_check"))
    for caution in kind_of_task("tyres_check").cautions:
        assert text_of(mail).count(f"Caution: {caution}") == 1
        assert html.unescape(html_of(mail)).count(f"Caution: {caution}") == 1


def test_what_the_workshop_does_without_a_safety_task_brings_no_caution(long_letter):
    task = next(task for task in SINGLE if not task.safety and not task.owner_can)
    assert "Caution:" not in text_of(long_letter(task))


def test_what_owners_do_themselves_comes_with_its_caution(long_letter):
    task = next(task for task in SINGLE if task.owner_can and not task.safety)
    text = text_of(long_letter(task))
    assert all(f"Caution: {caution}" in text for caution in kind_of_task(task.code).cautions)


def test_what_a_larger_service_includes_stands_under_it(long_letter):
    """A larger service covers the smaller (analogue: 14 CFR 91.409(b))."""
    larger = task_of("shock_full_service")
    smaller = task_of(larger.includes[0])
    text = text_of(long_letter(larger, smaller))
    assert f"Done with it: {smaller.title}" in text
    assert f"* {smaller.title}" not in text


def test_what_comes_along_with_a_larger_service_brings_no_cautions_of_its_own(long_letter):
    larger = next(t for t in all_tasks() if t.includes and t.safety and not t.owner_can and t.code not in AFTER)
    smaller = next(
        t for t in map(task_of, larger.includes)
        if t.safety and not t.owner_can and not set(kind_of_task(t.code).cautions) <= set(kind_of_task(larger.code).cautions)
    )  # fmt: skip
    text = text_of(long_letter(larger, smaller))
    assert all(f"Caution: {caution}" in text for caution in kind_of_task(larger.code).cautions)
    assert {line.partition("Caution: ")[2] for line in text.splitlines() if "Caution: " in line} == set(
        kind_of_task(larger.code).cautions
    )


def test_a_long_letter_says_the_same_in_both_parts(long_letter):
    mail = long_letter(*SINGLE[:12])
    body = html_of(mail).split("<body>")[1]
    shown = html.unescape(re.sub(r"<[^>]+>", " ", body)) + " ".join(re.findall(r'href="([^"]+)"', body))
    assert words_of(text_of(mail)) == words_of(shown)
