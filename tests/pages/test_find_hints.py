"""The short list under the search field: a piece of a page with a few options, for staff, kept by no cache."""

import re
from datetime import date

import pytest

from tests import factories as make
from tests.pages.conftest import ROLES, logged_in
from tracker.queries.search import briefly, find

pytestmark = pytest.mark.django_db


def options(client, text: str) -> list[str]:
    """The options as a person reads them."""
    page = client.get("/find-hints/", {"q": text}).content.decode()
    return [" ".join(re.sub("<[^>]+>", " ", option).split()) for option in re.findall("<li.*?</li>", page)]


def test_a_hint_says_what_it_is_and_where_it_sits(workshop, desk):
    (hint,) = options(desk, "k240")
    assert hint.startswith("Component K24000 chain LF-")
    assert hint.endswith("at chain of F26-1040")


def test_a_hint_leads_to_its_page(workshop, desk):
    page = desk.get("/find-hints/", {"q": "zoe"}).content.decode()
    assert f'<li id="find-hint-1" role="option" aria-selected="false" data-href="/owners/{workshop.owner.pk}/">' in page


def test_the_list_is_short(workshop, desk):
    for number in range(12):
        make.ComponentFactory(serial=f"K24-{number:03d}")
    assert len(options(desk, "k24")) == 8


def test_no_kind_crowds_out_the_others(workshop):
    for number in range(12):
        make.TrikeFactory(frame_serial=f"ZOE-{number:02d}", plate=None)
    kinds = [hit.kind for hit in briefly(find("zoe", 8), 8)]
    assert kinds == ["trike", "trike", "trike", "owner", "trike", "trike", "trike", "trike"]


def test_an_exact_hit_is_the_first_and_a_stolen_trike_the_next(workshop, desk):
    make.TrikeFactory(frame_serial="F26-10401", plate=None, stolen_on=date(2026, 3, 3))
    make.TrikeFactory(frame_serial="F26-10400", plate=None)
    told = options(desk, "F26-1040")
    assert [hint.split()[1] for hint in told] == ["F26-1040", "F26-10401", "F26-10400"]
    assert "STOLEN since 3 Mar 2026" in told[1]


@pytest.mark.parametrize("text", ["", "k", " ", "\x00\x00", "zz-99"])
def test_nothing_found_is_an_empty_piece(workshop, desk, text):
    assert options(desk, text) == []


def test_it_is_kept_by_no_cache_and_needs_no_script_of_its_own(workshop, desk):
    answer = desk.get("/find-hints/", {"q": "k240"})
    assert answer["Cache-Control"] == "private, no-store"
    assert b"<script" not in answer.content
    assert b"style=" not in answer.content


def test_kept_markup_is_shown_as_text(workshop, desk):
    make.OwnerFactory(name="<img src=x> \u202eFen", search_name="<img src=x> fen")
    page = desk.get("/find-hints/", {"q": "fen"}).content.decode()
    assert "&lt;img src=x&gt; [U+202E]Fen" in page


@pytest.mark.parametrize("role", ROLES)
def test_everybody_of_the_workshop_finds(workshop, role):
    assert len(options(logged_in(role), "k240")) == 1


def test_a_person_without_a_role_finds_nothing(workshop):
    assert logged_in("").get("/find-hints/", {"q": "k240"}).status_code == 404


def test_who_is_not_logged_in_is_sent_to_the_login_and_sees_no_names(workshop, client):
    answer = client.get("/find-hints/", {"q": "zoe"})
    assert (answer.status_code, answer.content) == (302, b"")


def test_it_is_only_looked_at(workshop, desk):
    assert desk.post("/find-hints/", {"q": "k240"}).status_code == 405


def test_the_number_of_queries_does_not_grow_with_what_is_found(workshop, desk, assert_flat_queries):
    def grow(count: int = 20) -> None:
        for number in range(count):
            make.FitmentFactory(
                component__serial=f"Q-{make.models.Component.objects.count()}-{number}", position="seat"
            )

    grow(8)
    assert_flat_queries(lambda: desk.get("/find-hints/", {"q": "q-"}), grow)
