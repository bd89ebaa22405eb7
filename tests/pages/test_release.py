"""Test ride and release at the desk: what demands it, the checklist, refusals beside their line, one signature."""

import pytest
from django.contrib.auth.models import Group

from tests import factories as make
from tests.pages.conftest import PASSWORD
from tests.releasing import card_on_the_bench, done, release_if_demanded, swapped
from tracker.models import JobCard, User
from tracker.queries.release import release_of

LINES = ("brakes_hold", "brakes_stop", "brakes_fixed", "test_ride")


@pytest.fixture
def card(db) -> JobCard:
    """A card whose left brake was checked."""
    card = card_on_the_bench()
    done(card, "brake-left", "brakes_check")
    return card


def answers(**changed) -> dict:
    return {**dict.fromkeys(LINES, "yes"), "version": 1, **changed}


def at(card: JobCard, more: str = "") -> str:
    return f"/jobs/{card.pk}/release/{more}"


def test_the_page_says_which_work_demands_it_and_cautions_first(card, mechanic):
    page = mechanic.get(at(card)).content.decode()
    assert "Brake check (left brake)" in page
    assert page.index("Test standing first") < page.index("brakes_hold")


def test_a_card_without_such_work_says_that_nothing_is_demanded(workshop, mechanic):
    page = mechanic.get(at(workshop.card)).content.decode()
    assert "It needs no release" in page
    assert "<fieldset" not in page


def test_answered_and_signed_it_leads_on_to_the_signature_of_the_card(card, mechanic):
    answer = mechanic.post(at(card), answers(brakes_hold_note="after bedding in"))
    assert answer["Location"] == f"/jobs/{card.pk}/sign/"
    card.refresh_from_db()
    assert card.released_by.username == "the-mechanic"
    assert "after bedding in" in mechanic.get(at(card)).content.decode()


def test_a_failed_line_is_refused_beside_it_and_everything_typed_stays(card, mechanic):
    answer = mechanic.post(at(card), answers(brakes_stop="no", brakes_stop_note="pulls to the left"))
    page = answer.content.decode()
    assert answer.status_code == 422
    line = page[page.index('id="id_brakes_stop_line"') : page.index('id="id_brakes_fixed_line"')]
    assert "did not pass" in line
    assert 'value="pulls to the left"' in line
    assert page.count("checked") == len(LINES)
    card.refresh_from_db()
    assert card.released_at is None


def test_a_line_without_an_answer_is_marked(card, mechanic):
    page = mechanic.post(at(card), answers(test_ride="")).content.decode()
    assert "Say whether this passed." in page[page.index('id="id_test_ride_line"') :]


def test_a_note_too_long_is_refused_beside_its_line(card, mechanic):
    answer = mechanic.post(at(card), answers(test_ride_note="x" * 201))
    assert answer.status_code == 422
    assert "200" in answer.content.decode()


def test_the_card_is_not_signed_without_it(card, mechanic):
    answer = mechanic.post(f"/jobs/{card.pk}/sign/", {"password": PASSWORD, "version": 1})
    assert answer.status_code == 422
    assert "demands a release" in answer.content.decode()
    card.refresh_from_db()
    assert card.state == "draft"


def test_work_added_afterwards_is_said_and_the_checklist_opens_again(card, mechanic, now):
    release_if_demanded(card, now)
    swapped(card, "brake-right", "brake")
    page = mechanic.get(at(card)).content.decode()
    assert "Work was added after the release was signed" in page
    assert "Swap: right brake" in page
    assert "brakes_hold" in page


def test_a_release_can_be_taken_back(card, mechanic, now):
    release_if_demanded(card, now)
    mechanic.post(at(card, "take-back/"))
    assert release_of(JobCard.objects.get()).state == "missing"


def test_taking_back_what_is_not_there_is_said(card, mechanic):
    assert "No release is signed" in mechanic.post(at(card, "take-back/"), follow=True).content.decode()


@pytest.mark.parametrize("role", ["desk", "reviewer"])
def test_only_who_may_sign_may_release(card, role, request):
    client = request.getfixturevalue(role)
    page = client.get(at(card)).content.decode()
    assert "A mechanic or the admin" in page
    assert "<fieldset" not in page
    assert client.post(at(card), answers()).status_code == 403
    assert client.post(at(card, "take-back/")).status_code == 403


def test_a_page_read_before_somebody_elses_change_is_not_signed_blindly(card, mechanic):
    JobCard.objects.filter(pk=card.pk).update(version=5)
    answer = mechanic.post(at(card), answers())
    assert answer.status_code == 409
    assert answer.context["form"].data["version"] == "5"


def test_a_second_signature_is_told_who_was_first(card, mechanic, now):
    mika = make.UserFactory(display_name="Mika")
    release_if_demanded(card, now, mika)
    answer = mechanic.post(at(card), answers(version=2))
    assert answer.status_code == 409
    assert "Mika signed the release" in answer.content.decode()


def test_a_signed_card_shows_its_release_and_takes_no_answers(card, mechanic, now):
    release_if_demanded(card, now)
    mechanic.post(f"/jobs/{card.pk}/sign/", {"password": PASSWORD, "version": 2})
    card.refresh_from_db()
    assert card.state == "signed"
    page = mechanic.get(at(card)).content.decode()
    assert "Each brake by itself" in page
    assert "take-back" not in page
    assert mechanic.post(at(card), answers()).status_code == 409


def test_a_card_that_is_not_there_is_not_found(mechanic):
    assert mechanic.get("/jobs/99/release/").status_code == 404


def test_the_role_counts_and_not_the_name(card, mechanic):
    User.objects.get(username="the-mechanic").groups.set([Group.objects.get_or_create(name="desk")[0]])
    assert mechanic.post(at(card), answers()).status_code == 403
