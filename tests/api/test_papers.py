"""Papers over the API: PDF for who may read, problem documents for who may not, no names where names are not to be read."""

import pytest

from tests import factories as make
from tests.api.conftest import machine, problem
from tests.papers.reading import words_of
from tracker.models import JobCard, Trike


@pytest.fixture
def card(trike) -> JobCard:
    owner = trike.ownerships.get().owner
    owner.name, owner.phone = "Zoë Ångström", "020 7946 0312"
    owner.save()
    return make.JobCardFactory(trike=trike)


def addresses(card: JobCard) -> list[str]:
    return [
        f"job-cards/{card.pk}/paper.pdf",
        f"job-cards/{card.pk}/summary.pdf",
        f"trikes/{card.trike_id}/passport.pdf",
    ]


def test_the_three_papers_come_as_pdf_kept_by_nobody_between(desk, card):
    for address in addresses(card):
        answer = desk.get(address)
        assert answer.content.startswith(b"%PDF-"), address
        assert answer["Content-Type"] == "application/pdf"
        assert answer["Cache-Control"] == "private, no-store"


def test_who_asks_for_pdf_by_name_gets_it_and_a_refusal_as_a_problem(desk, card):
    desk.headers["Accept"] = "application/pdf"
    assert desk.get(addresses(card)[0]).content.startswith(b"%PDF-")
    problem(desk.get("job-cards/987654/paper.pdf"), 404, "not-found")


@pytest.mark.parametrize("role", ["desk", "mechanic", "admin"])
def test_a_key_that_may_read_owners_gets_the_bench_card_with_the_owner(card, role):
    told = words_of(machine("read", "owners:read", role=role).get(addresses(card)[0]).content)
    assert "Zoë Ångström" in told
    assert "020 7946 0312" in told


@pytest.mark.parametrize(("scopes", "role"), [(["read"], "desk"), (["read", "owners:read"], "reviewer")])
def test_a_key_that_may_not_read_owners_gets_the_papers_without_them(card, scopes, role):
    caller = machine(*scopes, role=role)
    for address in addresses(card):
        told = words_of(caller.get(address).content)
        assert "Zoë" not in told, address
        assert "7946 0312" not in told, address


def test_an_unknown_parameter_is_refused(desk, card):
    problem(desk.get(addresses(card)[0], copies=2), 400, "bad-query")


def test_the_passport_of_a_trike_without_history_comes_too(desk, trike):
    bare: Trike = make.TrikeFactory(state="in_build", delivered_on=None)
    assert desk.get(f"trikes/{bare.pk}/passport.pdf").status_code == 200
