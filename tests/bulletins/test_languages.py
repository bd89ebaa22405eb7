"""A bulletin in the language of who reads it: written for them, held to the same rules, told where nobody wrote it."""

from email.message import EmailMessage

import pytest
from django.db import IntegrityError

from services.bulletins import softening_words
from tests import factories as make
from tests.api.conftest import person
from tests.bulletins.conftest import danger, draft, on_a_trike, released
from tests.factories import NOW
from tests.pages.conftest import logged_in
from tests.reminders.conftest import Postbox, dispatch_all, html_of, phone_of, text_of, token_for
from tracker.actions.bulletins import warnings_of, write_bulletin
from tracker.actions.refusals import FieldInvalid, NotEnough
from tracker.models import BulletinText, Fitment
from tracker.queries.bulletin_pages import readers_left_out

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _standing_clock(time_machine):
    time_machine.move_to(NOW, tick=False)


GERMAN = {
    "title": "Der Dämpfer kann platzen", "hazard": "Der Dämpfer kann platzen und Sie vom Rad werfen.",
    "stop_riding": "Fahren Sie nicht mehr.", "remedy": "Wir tauschen ihn, kostenlos.",
}  # fmt: skip


def in_german(shock, **changes):
    return danger(shock, texts={"de": GERMAN | changes})


def rider(shock, serial, language):
    part = on_a_trike(shock, serial, owner=make.OwnerFactory(language=language, email=f"{language}@example.org"))
    return Fitment.objects.get(component=part).trike


def letters() -> dict[str, EmailMessage]:
    box = Postbox()
    dispatch_all(box, NOW)
    return {mail["To"].addresses[0].addr_spec: mail for mail in box.mails}


def test_each_owner_gets_the_words_in_their_language(shock, writer, second):
    rider(shock, "S-1", "de")
    rider(shock, "S-2", "en")
    released(in_german(shock), writer, second)
    sent = letters()
    german, english = (text_of(sent[f"{code}@example.org"]) for code in ("de", "en"))
    assert all(text in german for text in GERMAN.values())
    assert "The shock can burst" not in german
    assert "The shock can burst" in english
    assert not any(text in english for text in GERMAN.values())


def test_where_nobody_wrote_it_the_english_goes_out_and_is_marked_as_english(shock, writer, second):
    rider(shock, "S-1", "de")
    released(danger(shock), writer, second)
    mail = letters()["de@example.org"]
    assert "The shock can burst" in text_of(mail)
    html = html_of(mail)
    assert '<p lang="en">The shock can burst' in html
    assert '<html lang="de">' in html


def test_the_owner_page_tells_it_in_their_language(shock, writer, second):
    trike = rider(shock, "S-1", "de")
    released(in_german(shock), writer, second)
    seen = phone_of(token_for(trike)).get("/o/").content.decode()
    assert f'<p lang="de">{GERMAN["hazard"]}' in seen
    assert "The shock can burst" not in seen


@pytest.mark.parametrize("name", GERMAN)
def test_half_a_warning_is_refused_beside_its_field(shock, writer, name):
    with pytest.raises(NotEnough, match="missing in Deutsch") as refused:
        draft(in_german(shock, **{name: " "}), writer)
    assert refused.value.field == f"{name}_de"


def test_a_change_of_the_english_that_the_german_does_not_follow_is_refused(shock, writer):
    row = draft(in_german(shock) | {"is_hazard": False, "severity": "information", "remedy": "",
                                    "texts": {"de": GERMAN | {"remedy": ""}}}, writer)  # fmt: skip
    with pytest.raises(NotEnough):
        write_bulletin(values={"remedy": "We swap it."}, bulletin_id=row.pk, version=row.version, by=writer, now=NOW)


def test_empty_texts_take_the_language_out(shock, writer):
    row = draft(in_german(shock), writer)
    write_bulletin(
        values={"texts": {"de": dict.fromkeys(GERMAN, "")}}, bulletin_id=row.pk, version=row.version, by=writer, now=NOW
    )
    assert not BulletinText.objects.exists()


@pytest.mark.parametrize("code", ["en", "fr", ""])
def test_no_other_language_is_taken(shock, writer, code):
    with pytest.raises(FieldInvalid):
        draft(danger(shock, texts={code: GERMAN}), writer)


@pytest.mark.parametrize(
    "words",
    [  # Regulation (EU) 2023/988, Article 36(2)(c), its German version from memory; the last two are of their kind
        "freiwillig", "freiwilliger", "vorsorglich", "im Ermessen", "in seltenen Situationen", "in bestimmten Situationen",
        "Bisher keine Unfälle", "sehr unwahrscheinlich", "vorsichtshalber",
    ],
)  # fmt: skip
def test_german_words_that_soften_a_hazard_are_named_too(shock, writer, words):
    assert [found.words for found in softening_words(f"Wir tauschen {words} den Dämpfer.")] == [words]
    row = draft(in_german(shock, remedy=f"Wir tauschen {words} den Dämpfer."), writer)
    assert any(words in warning for warning in warnings_of(row))


def test_the_plain_german_words_soften_nothing(shock, writer):
    assert warnings_of(draft(in_german(shock), writer)) == ()


def test_whoever_releases_it_is_told_how_many_would_read_the_english(shock, writer, second):
    for n in range(3):
        on_a_trike(shock, f"S-{n}", owner=make.OwnerFactory(language="de"))
    rider(shock, "S-9", "en")
    row = draft(danger(shock), writer)
    assert readers_left_out(row) == [("Deutsch", 3)]
    admin = logged_in("admin")
    assert "3 of its owners read Deutsch" in admin.get(f"/bulletins/{row.pk}/").content.decode()
    assert "3 of its owners read Deutsch" in admin.get(f"/bulletins/{row.pk}/letter/").content.decode()
    assert readers_left_out(draft(in_german(shock), writer)) == []


def test_the_letter_is_read_in_each_language_before_it_goes_out(shock, writer):
    row = draft(in_german(shock), writer)
    admin = logged_in("admin")
    german = admin.get(f"/bulletins/{row.pk}/letter/?language=de").content.decode()
    assert "Produktsicherheitsrückruf" in german
    assert GERMAN["stop_riding"] in german
    assert GERMAN["stop_riding"] not in admin.get(f"/bulletins/{row.pk}/letter/?language=nonsense").content.decode()


@pytest.mark.parametrize("way", ["change", "add", "remove"])
def test_what_was_released_stands_in_every_language(shock, writer, second, way):
    row = released(in_german(shock), writer, second)
    text = row.texts.get()
    text.hazard = "Nichts."
    with pytest.raises(IntegrityError, match="released bulletin cannot be changed"):
        {"change": text.save, "add": lambda: BulletinText.objects.create(bulletin=row, language="fr", title="x"),
         "remove": text.delete}[way]()  # fmt: skip


def test_the_form_keeps_both_languages_and_shows_a_refusal_beside_its_field(shock):
    reviewer = logged_in("reviewer")
    sent = {
        "part_types": shock.pk, "title": "The shock can burst", "severity": "stop", "hazard": "It bursts.",
        "stop_riding": "Stop riding.", "remedy": "We swap it.", "minutes": 30, "version": 0, "save": 1,
    }  # fmt: skip
    half = reviewer.post("/bulletins/new/", sent | {"hazard_de": GERMAN["hazard"]})
    assert half.status_code == 422
    assert "missing in Deutsch" in half.content.decode()
    whole = reviewer.post("/bulletins/new/", sent | {f"{name}_de": text for name, text in GERMAN.items()})
    assert whole.status_code == 302
    assert BulletinText.objects.values(*GERMAN).get() == GERMAN
    assert GERMAN["hazard"] in reviewer.get(f"{whole['Location']}change/").content.decode()


def test_who_is_overtaken_sees_the_german_that_stands_beside_their_own(shock, writer):
    row = draft(in_german(shock), writer)
    reviewer = logged_in("reviewer")
    page = f"/bulletins/{row.pk}/change/"
    sent = {
        "part_types": shock.pk, "title": row.title, "severity": "stop", "hazard": row.hazard, "version": row.version,
        "stop_riding": row.stop_riding, "remedy": row.remedy, "minutes": 30, "save": 1,
        **{f"{name}_de": text for name, text in GERMAN.items()},
    }  # fmt: skip
    write_bulletin(
        values={"texts": {"de": GERMAN | {"hazard": "Er platzt."}}},
        bulletin_id=row.pk,
        version=None,
        by=writer,
        now=NOW,
    )
    answer = reviewer.post(page, sent)
    assert answer.status_code == 409
    assert "What can happen (Deutsch)" in answer.content.decode()
    assert "Er platzt." in answer.content.decode()
    assert BulletinText.objects.get().hazard == "Er platzt."


def test_over_the_api_texts_are_written_and_read(shock):
    body = {
        "title": "The shock can burst", "part_types": [shock.pk], "severity": "recommended", "remedy": "We swap it.",
        "texts": [{"language": "de", "title": GERMAN["title"], "remedy": GERMAN["remedy"]}],
    }  # fmt: skip
    made = person("reviewer").post("bulletins", body, Idempotency_Key="b-1")
    assert made.status_code == 201, made.content
    assert made.json()["texts"] == [
        {"language": "de", "title": GERMAN["title"], "hazard": "", "stop_riding": "", "remedy": GERMAN["remedy"]}
    ]
    twice = person("reviewer").post("bulletins", body | {"texts": body["texts"] * 2}, Idempotency_Key="b-3")
    assert (twice.status_code, twice.json()["errors"][0]["pointer"]) == (422, "/texts")
    bad = person("reviewer").post(
        "bulletins", body | {"texts": [{"language": "fr", "title": "x"}]}, Idempotency_Key="b-2"
    )
    assert bad.status_code == 422
