"""The owner's summary at the desk: proposed, put in one's own words, mailed once."""

import pytest

from tests import factories as make
from tests.releasing import card_on_the_bench, done, release_if_demanded
from tracker.actions import signing
from tracker.models import JobCard, OutboxMessage


@pytest.fixture
def card(db) -> JobCard:
    card = card_on_the_bench(owner=make.OwnerFactory(name="Zoë Ångström", distance_unit="mi", pressure_unit="psi"))
    done(card, "rear-hub", "hub_oil_change")
    return card


@pytest.fixture
def signed(card, now) -> JobCard:
    release_if_demanded(card, now)
    return signing.sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)


def at(card: JobCard, more: str = "") -> str:
    return f"/jobs/{card.pk}/summary/{more}"


def test_it_is_proposed_from_what_was_done_in_the_owners_units(card, desk):
    page = desk.get(at(card)).content.decode()
    assert "We changed the oil of the gear hub." in page
    assert "its odometer stood at 1,305 mi" in page


def test_own_words_are_kept_and_shown(card, desk):
    desk.post(at(card), {"summary": "All is well.\r\n\r\n- oil", "version": 1})
    card.refresh_from_db()
    assert card.summary == "All is well.\n\n- oil"
    assert "in our own words" in desk.get(at(card)).content.decode()


def test_a_proposal_sent_back_unchanged_goes_on_following_the_card(card, desk):
    proposed = desk.get(at(card)).context["told"].proposed
    desk.post(at(card), {"summary": proposed.replace("\n", "\r\n"), "version": 1})
    card.refresh_from_db()
    assert card.summary == ""


def test_an_emptied_summary_is_the_proposal_again(card, desk):
    desk.post(at(card), {"summary": "All is well.", "version": 1})
    desk.post(at(card), {"summary": "", "version": 2})
    assert "We changed the oil" in desk.get(at(card)).content.decode()


def test_too_many_words_are_refused_beside_the_field_and_stay(card, desk):
    answer = desk.post(at(card), {"summary": "x" * 4001, "version": 1})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="id_summary_error"' in page
    assert "x" * 4001 in page


def test_two_people_see_both_texts_and_nothing_is_lost(card, desk, mechanic):
    mechanic.post(at(card), {"summary": "theirs", "version": 1})
    answer = desk.post(at(card), {"summary": "mine", "version": 1})
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "theirs" in page
    assert ">\nmine</textarea>" in page


def test_a_script_in_the_summary_is_shown_escaped(card, desk):
    desk.post(at(card), {"summary": "<script>alert(1)</script>", "version": 1})
    assert "<script>alert" not in desk.get(at(card)).content.decode()


def test_reviewers_read_and_do_not_write_or_mail(card, reviewer):
    page = reviewer.get(at(card)).content.decode()
    assert "We changed the oil" in page
    assert "<textarea" not in page
    assert reviewer.post(at(card), {"summary": "x", "version": 1}).status_code == 403
    assert reviewer.post(at(card, "mail/")).status_code == 403


def test_an_open_card_is_not_mailed(card, desk):
    assert "is not signed" in desk.post(at(card, "mail/"), follow=True).content.decode()
    assert not OutboxMessage.objects.exists()


def test_a_signed_card_is_mailed_once_however_often_it_is_asked_for(signed, desk):
    for _ in range(2):
        assert "in the outbox" in desk.post(at(signed, "mail/"), follow=True).content.decode()
    message = OutboxMessage.objects.get()
    assert (message.kind, message.key) == ("summary", f"summary:card{signed.pk}")
    assert "The message" in desk.get(at(signed)).content.decode()


@pytest.mark.parametrize(
    ("changed", "said"),
    [({"email": ""}, "has no mail address"), ({"email_dead_at": make.NOW}, "does not arrive")],
)
def test_without_an_address_that_works_nothing_is_mailed(signed, desk, changed, said):
    owner = signed.trike.ownerships.get().owner
    type(owner).objects.filter(pk=owner.pk).update(**changed)
    assert said in desk.post(at(signed, "mail/"), follow=True).content.decode()
    assert not OutboxMessage.objects.exists()


def test_a_signed_summary_is_not_changed_any_more(signed, desk):
    assert "<textarea" not in desk.get(at(signed)).content.decode()
    assert desk.post(at(signed), {"summary": "too late", "version": signed.version}).status_code == 409
