"""What is refused to German owners, and what they see without their page: in German and in nothing else."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests import factories as make
from tests import pictures
from tests.reminders.conftest import DUE, phone_of, some_task, token_for
from tests.reminders.test_german import english_in, german, shown
from tracker.actions.owner_wishes import set_language
from tracker.actions.reminders import sweep_trikes
from tracker.models import Owner, OwnerLink

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock", "photo_folder")]
HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + b"\x00" * 64


@pytest.fixture
def phone():
    trike = german(some_task())
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return phone_of(token_for(trike))


def refused(answer) -> str:
    """The page of a refusal, which is German throughout."""
    page = answer.content.decode()
    assert (answer.status_code, english_in(shown(page))) == (422, set())
    return page


def with_picture(phone: Client, content: bytes):
    sent = {"key": phone.key, "value": "2100", "unit": "km", "photo": SimpleUploadedFile("a.jpg", content)}
    return phone.post("/o/reading", sent)


@pytest.mark.parametrize(("content", "words"), [
    (b"no picture", "Diese Datei lässt sich nicht als Foto lesen."),
    (HEIC, "Dieses Bild ist im Format HEIC, das wir hier nicht lesen können."),
    (pictures.moving("WEBP"), "Das ist ein bewegtes Bild."),
])  # fmt: skip
def test_a_picture_that_is_none_is_refused_in_german(content, words, phone):
    assert words in refused(with_picture(phone, content))


def test_a_picture_of_too_many_octets_is_refused_in_german(phone, settings):
    settings.PHOTO_MAX_BYTES = 20_000
    assert "Das Bild ist größer als 12 MB." in refused(with_picture(phone, b"x" * 30_000))


def test_what_is_too_large_to_be_looked_at_is_refused_in_the_owners_language(phone, settings):
    settings.PHOTO_MAX_BYTES = 20_000
    answer = with_picture(phone, b"x" * 50_000)
    assert (answer.status_code, answer["Cache-Control"]) == (413, "no-store")
    assert "Das war zu groß" in answer.content.decode()
    assert english_in(shown(answer.content.decode())) == set()


def test_a_picture_of_too_many_pixels_is_refused_in_german(phone):
    assert "Das Bild hat mehr als 40 Millionen Bildpunkte." in refused(with_picture(phone, pictures.png_bomb()))


def test_a_safety_notice_that_is_not_there_is_refused_in_german(phone):
    answer = phone.post("/o/read", {"key": phone.key, "bulletin": "7"})
    assert answer.status_code == 422
    assert english_in(shown(answer.content.decode())) == set()


def test_words_that_cannot_be_kept_are_refused_in_german(phone):
    page = refused(phone.post("/o/hand-on", {"key": phone.key, "words": "Jörg\x07"}))
    assert "Der Text enthält Zeichen, die wir nicht aufbewahren können." in page


def test_a_finder_is_refused_in_german():
    make.TrikeFactory(label_code="ABCDEFGHIJKLMNOP2345")
    finder = Client(headers={"accept-language": "de"})
    page = refused(finder.post("/t/ABCDEFGHIJKLMNOP2345/", {"where": "Am Hafen\x07"}))
    assert "Geben Sie ihn noch einmal ein." in page


# Without the page


def test_without_a_connection_the_owner_reads_their_language_whatever_the_browser_asks_for(phone):
    page = phone.get("/o/offline", HTTP_ACCEPT_LANGUAGE="en-GB,en").content.decode()
    assert "Keine Verbindung" in page
    assert english_in(shown(page)) == set()


def test_another_language_is_another_worker_which_fetches_its_page_for_no_connection_anew(phone):
    before = phone.get("/o/worker.js").content
    set_language(link=OwnerLink.objects.first(), language="en", now=DUE)
    assert phone.get("/o/worker.js").content != before
    assert "No connection" in phone.get("/o/offline", HTTP_ACCEPT_LANGUAGE="de").content.decode()


def test_the_way_out_is_told_in_the_language_of_who_leaves(phone):
    page = phone.post("/o/leave", {"key": phone.key}, follow=True, HTTP_ACCEPT_LANGUAGE="en").content.decode()
    assert 'data-copy="forget"' in page
    assert english_in(shown(page)) == set()
    assert "Dieses Gerät hat Ihr Trike vergessen" in page


@pytest.mark.parametrize(
    ("code", "lang", "name"), [("de", "de", "Mein Trike"), ("en", "en-GB", "My trike"), ("xx", "en-GB", "My trike")]
)
def test_the_app_has_its_name_in_the_language_of_the_page_that_offers_it(code, lang, name, phone):
    Owner.objects.update(language=code)
    page = phone.get("/o/", HTTP_ACCEPT_LANGUAGE="en").content.decode()
    address = page.split('rel="manifest" href="')[1].split('"')[0]
    told = Client().get(address).json()
    assert (told["lang"], told["short_name"], told["id"]) == (lang, name, "/o/")
