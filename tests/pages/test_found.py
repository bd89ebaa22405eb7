"""The page behind a label's code: staff go on to the trike, everybody else learns how to reach the workshop and no more."""

import random
from email import message_from_bytes, policy

import pytest
from django.core.cache import cache
from django.test import Client
from rest_framework.settings import api_settings

from tests.factories import NOW
from tests.pages.conftest import logged_in
from tests.reminders.conftest import Postbox, dispatch_all
from tracker.actions.outbox import dispatch_one, resolve_unknown
from tracker.actions.posting import Delivery, Outcome
from tracker.models import LogEntry, OutboxMessage

CODE = "ABCDEFGHIJKLMNOP2345"
WHERE = {"where": "Behind the mill at the ford", "reach": "020 7946 0444"}


@pytest.fixture
def trike(workshop):
    cache.clear()
    workshop.trike.label_code = CODE
    workshop.trike.model = "Fenrunner"
    workshop.trike.save()
    return workshop.trike


@pytest.fixture
def finder() -> Client:
    return Client(enforce_csrf_checks=True)


def page(client: Client, code: str = CODE):
    return client.get(f"/t/{code}/")


def tell(client: Client, **words: str):
    return client.post(f"/t/{CODE}/", WHERE | words)


@pytest.mark.parametrize("role", ["desk", "mechanic", "reviewer", "admin"])
def test_staff_go_on_to_the_trike(role, trike):
    answer = page(logged_in(role))
    assert (answer.status_code, answer["Location"]) == (302, f"/trikes/{trike.pk}/")


def test_a_person_without_a_role_is_a_finder_like_any_other(trike):
    assert page(logged_in("")).status_code == 200


def test_a_finder_learns_how_to_reach_the_workshop(finder, trike, settings):
    told = page(finder).content.decode()
    for words in ("Found this trike?", settings.WORKSHOP_PHONE, settings.WORKSHOP_EMAIL, settings.WORKSHOP_NAME):
        assert words in told


@pytest.mark.parametrize("stolen", [None, "2026-04-20"])
def test_a_finder_learns_nothing_of_the_owner_the_machine_or_a_theft(finder, trike, workshop, stolen):
    trike.stolen_on, trike.stolen_note = stolen, "report 77/26" if stolen else ""
    trike.save()
    told = page(finder).content.decode()
    secret = (workshop.owner.name, workshop.owner.email, workshop.owner.phone, trike.frame_serial, trike.plate,
              trike.model, "stolen", "77/26")  # fmt: skip
    assert not [words for words in secret if words.lower() in told.lower()]


def test_a_stolen_trikes_page_is_the_same_to_the_last_byte(finder, trike):
    before = page(finder).content
    trike.stolen_on = NOW.date()
    trike.save()
    assert page(finder).content == before


def test_no_copy_is_kept_and_nobody_is_told_the_address(finder, trike):
    for answer in (page(finder), page(finder, "Z" * 20)):
        assert answer["Cache-Control"] == "no-store"
        assert answer["Referrer-Policy"] == "no-referrer"
        assert answer["X-Robots-Tag"] == "noindex, nofollow"
        assert "default-src 'none'" in answer["Content-Security-Policy"]


@pytest.mark.parametrize("code", ["Z" * 20, "1", "%00", "a" * 500, "F26-1040", "é", "'--"])
def test_a_code_that_is_none_answers_404_in_the_same_shape(finder, trike, code):
    answer = page(finder, code)
    told = answer.content.decode()
    assert answer.status_code == 404
    assert "Found this trike?" in told
    assert "020 7946" in told or "+44" in told
    assert "<textarea" not in told


def test_an_old_code_answers_as_one_that_never_was(finder, trike):
    never = page(finder, "Z" * 20).content
    trike.label_code = "Y" * 20
    trike.save()
    assert page(finder).content == never


def test_a_message_goes_to_the_desk_and_the_page_says_thank_you(finder, trike):
    answer = tell(finder)
    assert (answer.status_code, answer["Location"]) == (303, f"/t/{CODE}/?said=thanks")
    assert "Thank you" in finder.get(answer["Location"]).content.decode()
    message = OutboxMessage.objects.get()
    assert (message.kind, message.trike, message.owner, message.payload) == ("found", trike, None, WHERE)
    assert not LogEntry.objects.exists()


def test_the_same_words_sent_twice_are_one_message(finder, trike):
    tell(finder)
    tell(finder)
    tell(finder, where="Somewhere else")
    assert OutboxMessage.objects.count() == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"where": ""}, "Please tell us where it is."), ({"where": "   "}, "Please tell us where it is."),
        ({"where": "x" * 501}, "at most 500"), ({"reach": "x" * 201}, "at most 200"),
        ({"where": "bad\x07bell"}, "cannot be kept"),
    ],
)  # fmt: skip
def test_what_is_refused_stands_beside_the_field_and_the_rest_is_kept(finder, trike, words, said):
    answer = tell(finder, **words)
    told = answer.content.decode()
    assert answer.status_code == 422
    assert said in told
    assert (WHERE["reach"] if "where" in words else WHERE["where"]) in told
    assert not OutboxMessage.objects.exists()


def test_one_address_sends_only_so_many_messages_and_what_was_typed_is_kept(finder, trike, monkeypatch):
    monkeypatch.setitem(api_settings.DEFAULT_THROTTLE_RATES, "found", "2/h")
    for number in range(2):
        assert tell(finder, where=f"place {number}").status_code == 303
    answer = tell(finder)
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) > 0
    assert WHERE["where"] in answer.content.decode()
    assert OutboxMessage.objects.count() == 2


def test_looking_is_counted_too(finder, trike, monkeypatch):
    monkeypatch.setitem(api_settings.DEFAULT_THROTTLE_RATES, "public", "1/min")
    assert page(finder).status_code == 200
    assert page(finder, "Z" * 20).status_code == 429


def letters(trike, now=NOW) -> list[str]:
    box = Postbox()
    dispatch_all(box, now)
    mails = [message_from_bytes(letter.content, policy=policy.default) for letter in box.letters]
    return [f"{mail['To']}\n{mail['Subject']}\n{mail.get_content()}" for mail in mails]


def test_the_desk_gets_the_words_at_once_and_the_record_keeps_none(finder, trike, settings):
    tell(finder)
    (letter,) = letters(trike)
    for words in (settings.WORKSHOP_EMAIL, "Trike found: Fenrunner LT-310", *WHERE.values(), f"/trikes/{trike.pk}/"):
        assert words in letter
    message = OutboxMessage.objects.get()
    assert (message.state, message.payload) == ("sent", {})


def test_the_mail_about_a_stolen_trike_says_so(finder, trike):
    trike.stolen_on, trike.stolen_note = NOW.date(), "report 77/26"
    trike.save()
    tell(finder, reach="")
    (letter,) = letters(trike)
    assert "STOLEN trike found" in letter
    assert "report 77/26" in letter
    assert "nothing given" in letter


def test_a_subject_cannot_be_broken_out_of(finder, trike):
    trike.model = "Fen\nBcc: all@example.org"
    trike.save()
    tell(finder)
    (letter,) = letters(trike)
    assert "Trike found: Fen Bcc: all@example.org LT-310" in letter


def test_a_dead_mailbox_fails_and_can_be_tried_again(finder, trike, desk):
    tell(finder)
    dispatch_one(channel=Postbox(lambda _: Delivery(Outcome.DEAD, "no such box")), now=NOW, rng=random.Random(1))
    message = OutboxMessage.objects.get()
    assert (message.state, message.payload["where"]) == ("failed", WHERE["where"])
    assert desk.post(f"/messages/{message.pk}/decide/", {"choice": "retry"}).status_code == 302
    assert len(letters(trike)) == 1


def test_the_words_go_when_a_person_says_that_it_was_sent(finder, trike):
    tell(finder)
    OutboxMessage.objects.update(state="unknown")
    done = resolve_unknown(message_id=OutboxMessage.objects.get().pk, choice="sent", by=None, now=NOW)
    assert "where" not in done.payload


def test_a_message_is_shown_at_the_desk_without_an_owner(finder, trike, desk):
    tell(finder)
    assert b"Found" in desk.get(f"/messages/{OutboxMessage.objects.get().pk}/").content
    assert desk.get("/messages/").status_code == 200
