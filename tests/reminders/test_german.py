"""German owners: every letter, the page and the calendar in German and in nothing else; the desk and the record in English."""

import re
from collections.abc import Callable

import pytest
import time_machine
from django.test import Client

from services.kinds import all_tasks
from tests import factories as make
from tests.mail_lint import faults
from tests.pages.conftest import logged_in
from tests.reminders.conftest import (
    DUE,
    Postbox,
    days,
    dispatch_all,
    fit,
    html_of,
    phone_of,
    some_task,
    text_of,
    token_for,
    trike_with,
)
from tests.reminders.test_summary_mail import signed
from tracker.actions.appointments import ask_for_day, decide_appointment
from tracker.actions.owner_links import make_feed, open_link
from tracker.actions.owners import change_owner
from tracker.actions.refusals import FieldInvalid
from tracker.actions.reminders import sweep_trikes
from tracker.actions.summaries import mail_summary
from tracker.models import DueLine, OdometerReading, OutboxMessage, Owner, Trike, Visit

pytestmark = pytest.mark.django_db
GERMAN = {"name": "Jörg Müßig & <Söhne>", "language": "de", "distance_unit": "km"}
# Words of our own sentences that no German sentence of ours has.
ENGLISH = re.compile(
    r"\b(?:the|your|you|we|is|are|this|that|with|and|or|not|due|please|check|day|days|about|of|on|at|for|what|how|it|its|"
    r"service|tyre|tyres|brake|brakes|battery|chain|wheel|wheels|before|after|every|month|months|first|last|trike's|when)\b",
    re.I,
)


@pytest.fixture(autouse=True)
def public_url(settings):
    settings.PUBLIC_URL = "https://service.example.org"


def english_in(text: str) -> set[str]:
    """The English words in a text; addresses and names of people and shops do not count."""
    return {word.lower() for word in ENGLISH.findall(re.sub(r"https?://\S+|\S+@\S+|Larkfen Trikeworks", " ", text))}


def shown(page: str) -> str:
    """What a page shows and says to those who hear it."""
    spoken = " ".join(re.findall(r'\b(?:aria-label|title|placeholder)="([^"]*)"', page))
    body = re.sub(r"<style>.*?</style>|<script.*?</script>", " ", page, flags=re.DOTALL)
    return f"{spoken} {re.sub(r'<[^>]+>', ' ', body)}"


def german(*tasks, months: int = 12) -> Trike:
    trike = trike_with(tasks[0], months=months, owner=make.OwnerFactory(**GERMAN))
    for task in tasks[1:]:
        fit(trike, task, months=months)
    return trike


def reminder(day: int, *tasks) -> Callable[[Postbox], None]:
    def write(postbox: Postbox) -> None:
        trike = german(*(tasks or (some_task(),)))
        sweep_trikes(trike_ids=[trike.pk], now=DUE + days(day))
        dispatch_all(postbox, OutboxMessage.objects.get().not_before)

    return write


def written(kind: str, **payload) -> Callable[[Postbox], None]:
    def write(postbox: Postbox) -> None:
        trike = german(some_task())
        owner = trike.ownerships.get().owner
        make.OutboxMessageFactory(trike=trike, owner=owner, kind=kind, payload=payload, not_before=DUE)
        dispatch_all(postbox, DUE)

    return write


def summary(postbox: Postbox) -> None:
    mail_summary(card_id=signed(DUE, GERMAN).pk, now=DUE)
    dispatch_all(postbox, DUE)


def answered(**choice) -> Callable[[Postbox], None]:
    def write(postbox: Postbox) -> None:
        trike = german(some_task())
        sweep_trikes(trike_ids=[trike.pk], now=DUE - days(10))
        OutboxMessage.objects.all().delete()
        link = open_link(token_for(trike, now=DUE - days(9)), DUE - days(9))
        row = ask_for_day(link=link, on=(DUE + days(4)).date(), now=DUE - days(9))
        decide_appointment(appointment_id=row.pk, by=None, now=DUE - days(9), **choice)
        dispatch_all(postbox, DUE - days(8))

    return write


MANY = (some_task(safety=True), some_task(safety=False), some_task(owner_can=True))
NOTICE = {"subject": "Akku nicht laden", "paragraphs": ["Bitte bis 3. Mai 2026 nicht laden.", "Rufen Sie uns an."]}
LETTERS = {
    "heads-up": reminder(-10), "due": reminder(0), "overdue": reminder(30), "many tasks": reminder(0, *MANY),
    "what owners do themselves": reminder(0, some_task(owner_can=True)),
    "question": written("question", read_on="2026-04-03"), "safety notice": written("safety", **NOTICE), "summary": summary,
    "day agreed": answered(choice="confirm"), "another day": answered(choice="offer", on=(DUE + days(5)).date()),
}  # fmt: skip
TO_ONE = {"summary", "day agreed", "another day"}


@pytest.fixture
def letter(kind, postbox):
    with time_machine.travel(DUE, tick=False):
        LETTERS[kind](postbox)
    assert len(postbox.letters) == 1
    return postbox


@pytest.mark.parametrize("kind", LETTERS)
def test_every_letter_is_german_in_both_parts_and_the_linter_has_nothing_to_say(kind, letter):
    mail = letter.mails[0]
    assert faults(letter.letters[0].content, to_a_list=kind not in TO_ONE) == []
    assert mail["Content-Language"] == "de"
    for text in (mail["Subject"], text_of(mail), shown(html_of(mail))):
        assert english_in(text) == set()
    assert text_of(mail).startswith("Guten Tag Jörg Müßig & <Söhne>,")


@pytest.mark.parametrize(("kind", "words"), [
    ("heads-up", "Wartung bald fällig, zuerst am 1. Mai 2026"), ("due", "Wartung ist jetzt fällig"),
    ("question", "was zeigt Ihr Display?"), ("summary", "was wir gemacht haben"), ("safety notice", "Akku nicht laden"),
    ("day agreed", "Ihr Tag in der Werkstatt"),
])  # fmt: skip
def test_the_subject_says_what_it_is_about(kind, words, letter):
    assert words in letter.mails[0]["Subject"]


@pytest.mark.parametrize("kind", ["another day"])
def test_another_day_is_offered_with_both_days(kind, letter):
    text = " ".join(text_of(letter.mails[0]).split())
    assert "Könnten Sie statt Dienstag, 5. Mai 2026 am Mittwoch, 6. Mai 2026 kommen?" in text


@pytest.mark.parametrize("kind", ["summary"])
def test_a_summary_has_the_owners_numbers_and_what_comes_next(kind, letter):
    text = text_of(letter.mails[0])
    assert "- Wir haben das Öl der Getriebenabe gewechselt." in text
    assert "- Luftdruck im hinteren Federbein: 10,3 bar, in Ordnung." in text
    assert "Nabenöl: 1. Mai 2027." in text


@pytest.mark.parametrize("task", [t for t in all_tasks() if t.on in {"chain", "hub_geared", "air_shock", "brake", "battery"}],
                         ids=lambda task: task.code)  # fmt: skip
def test_every_task_stands_on_the_page_in_german(task, standing_clock):
    trike = german(task)
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    page = phone_of(token_for(trike)).get("/o/").content.decode()
    assert english_in(shown(page)) == set()
    assert '<html lang="de"' in page


# The page


@pytest.fixture
def phone(standing_clock):
    trike = german(*MANY)
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    client = phone_of(token_for(trike))
    client.trike = trike
    return client


def test_the_page_with_nothing_due_is_german_too(standing_clock):
    trike = german(some_task())
    DueLine.objects.filter(trike=trike).delete()
    page = phone_of(token_for(trike)).get("/o/").content.decode()
    assert "Nichts ist fällig" in page
    assert english_in(shown(page)) == set()


@pytest.mark.parametrize("address", ["/o/", "/o/settings", "/o/hand-on"])
def test_the_pages_behind_the_link_are_german_whatever_the_browser_asks_for(phone, address):
    page = phone.get(address, HTTP_ACCEPT_LANGUAGE="en-GB,en").content.decode()
    assert '<html lang="de"' in page
    assert english_in(shown(page).replace("English", "")) == set()
    assert len(page.encode()) < 50_000


@pytest.mark.parametrize(("typed", "kept"), [
    ("1.234", "1234"), ("1.234,5", "1234.5"), ("1234,5", "1234.5"), ("12.345", "12345"), ("1 234", "1234"),
])  # fmt: skip
def test_a_number_is_read_as_germans_write_it(phone, typed, kept):
    make.OdometerReadingFactory(trike=phone.trike, read_at=DUE - days(200), value=1000)
    phone.post("/o/reading", {"key": phone.key, "value": typed, "unit": "km", "confirmed": "", "meant": ""})
    newest = phone.post(
        "/o/reading",
        {"key": phone.key, "value": typed, "unit": "km", "confirmed": f"{float(kept):.3f} km", "meant": "accept"},
    )
    assert newest.status_code == 303
    assert OdometerReading.objects.filter(source="owner").last().value == pytest.approx(float(kept))


def test_what_is_refused_is_said_in_german_and_kept_in_english(phone):
    make.OdometerReadingFactory(trike=phone.trike, read_at=DUE - days(20), value=5000)
    page = phone.post("/o/reading", {"key": phone.key, "value": "viel", "unit": "km"}).content.decode()
    assert "Das ist keine Zahl." in page
    kept = phone.post("/o/reading", {"key": phone.key, "value": "4100", "unit": "km"})
    assert kept.status_code == 303
    reading = OdometerReading.objects.get(source="owner")
    assert reading.reason.startswith("4,100 km is 900 km below the last reading (5,000 km).")
    assert all(re.match(r"[ -~]+$", proposal["words"]) for proposal in reading.proposals)


def test_the_question_before_an_unlikely_reading_is_asked_in_german(phone):
    for ago, value in ((190, 950), (20, 2000)):
        make.OdometerReadingFactory(trike=phone.trike, read_at=DUE - days(ago), value=value)
    answer = phone.post("/o/reading", {"key": phone.key, "value": "3500", "unit": "km"})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Bitte lesen Sie noch einmal ab: zu erwarten wären zwischen" in page
    assert english_in(shown(page)) == set()


def test_an_owner_chooses_the_language_and_reads_it_at_once(phone):
    answer = phone.post("/o/settings", {"key": phone.key, "form": "language", "language": "en"}, follow=True)
    assert Owner.objects.get().language == "en"
    assert "We write to you in this language." in answer.content.decode()
    refused = phone.post("/o/settings", {"key": phone.key, "form": "language", "language": "fr"})
    assert (refused.status_code, Owner.objects.get().language) == (422, "en")


@pytest.mark.parametrize("code", ["", "fr", "de-AT", "xx"])
def test_an_unknown_language_is_answered_in_english(code, standing_clock, postbox):
    trike = trike_with(some_task(), owner=make.OwnerFactory(language=code))
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    dispatch_all(postbox, DUE)
    page = phone_of(token_for(trike)).get("/o/", HTTP_ACCEPT_LANGUAGE="de").content.decode()
    assert '<html lang="en-gb"' in page
    assert "Due at the workshop" in page
    assert english_in(shown(page)) > {"the", "is", "due"}  # the measure of the others
    assert postbox.mails[0]["Content-Language"] == "en"
    assert faults(postbox.letters[0].content, to_a_list=True) == []


@pytest.mark.parametrize(("asked", "words", "lang"), [
    ("de-CH,de;q=0.9", "Bitten Sie um einen neuen Link", "de"), ("fr,en;q=0.5", "Ask for a new link", "en-gb"),
    ("", "Ask for a new link", "en-gb"),
])  # fmt: skip
def test_who_is_not_known_yet_is_answered_as_the_browser_asks(asked, words, lang):
    page = Client().get("/o/no-such-link", HTTP_ACCEPT_LANGUAGE=asked).content.decode()
    assert words in page
    assert f'<html lang="{lang}"' in page


@pytest.mark.parametrize("code", ["ABCDEFGHIJKLMNOP2345", "no-such-code"])
def test_who_finds_a_trike_is_answered_as_the_browser_asks(code):
    make.TrikeFactory(label_code="ABCDEFGHIJKLMNOP2345")
    finder = Client(headers={"accept-language": "de"})
    for page in (finder.get(f"/t/{code}/"), finder.post(f"/t/{code}/", {"where": ""})):
        assert "Haben Sie dieses Trike gefunden?" in page.content.decode()
        assert english_in(shown(page.content.decode())) == set()


def test_the_calendar_feed_is_german(phone):
    link = open_link(token_for(phone.trike), DUE)
    feed = Client().get(f"/o/feed/{make_feed(link=link, now=DUE)}.ics", HTTP_ACCEPT_LANGUAGE="en").content.decode()
    told = re.sub(r"\r\n ", "", feed)
    assert "Wartung vorgeschlagen" in told
    assert "Tag vereinbaren: +" in told
    lines = [line for line in told.splitlines() if line.startswith(("SUMMARY", "DESCRIPTION"))]
    assert english_in(" ".join(lines)) == set()


def test_the_desk_and_what_is_kept_stay_english(phone):
    visit = Visit.objects.get()
    kept = [
        visit.words,
        *visit.lines.values_list("reason", flat=True),
        *map(str, DueLine.objects.values_list("facts", flat=True)),
    ]
    assert not re.search(r"[äöüß]|fällig|zuletzt", " ".join(kept), re.IGNORECASE)
    page = logged_in("desk").get(f"/trikes/{phone.trike.pk}/", HTTP_ACCEPT_LANGUAGE="de").content.decode()
    assert '<html lang="en-GB"' in page
    assert "Overdue" in page or "Due now" in page or "Soon" in page
    assert not re.search(r"\b(?:fällig|Zuletzt|Wartung)\b", page)


def test_the_desk_sees_a_summary_as_its_owner_will_read_it():
    card = signed(DUE, GERMAN)
    page = logged_in("desk").get(f"/jobs/{card.pk}/summary/").content.decode()
    assert "Wir haben das Öl der Getriebenabe gewechselt." in page
    assert "Mail" in page


def test_the_desk_and_the_api_keep_an_owners_language():
    owner = make.OwnerFactory()
    desk = logged_in("desk")
    form = {
        "name": owner.name,
        "time_zone": "Europe/Berlin",
        "distance_unit": "km",
        "pressure_unit": "bar",
        "version": "1",
    }
    assert desk.post(f"/owners/{owner.pk}/change/", form | {"language": "de"}).status_code == 302
    owner.refresh_from_db()
    assert owner.language == "de"
    assert (
        desk.post(f"/owners/{owner.pk}/change/", form | {"language": "fr", "version": owner.version}).status_code == 422
    )
    with pytest.raises(FieldInvalid):
        change_owner(owner_id=owner.pk, version=None, changes={"language": "fr"}, by=None, now=DUE)
    assert "Deutsch" in desk.get(f"/owners/{owner.pk}/").content.decode()
