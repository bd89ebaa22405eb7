"""The owner's page folds what comes with a larger service under it, as the job card does."""

from datetime import date

import pytest

from services.kinds import task as task_of
from tests import factories as make
from tests.reminders.conftest import DUE, phone_of, token_for, trike_with
from tracker.actions.reminders import sweep_trikes
from tracker.pages.owner_shown import jobs_of
from tracker.queries.reminders import Told

pytestmark = pytest.mark.django_db


def told(code: str, **more) -> Told:
    return Told(code, code.title(), "", "", date(2026, 5, 8), "soon", "soon", False, False, (), **more)


def folded(*codes: str) -> list[tuple[str, list[str]]]:
    return [(job.told.code, [small.code for small in job.along]) for job in jobs_of([told(code) for code in codes])]


def test_a_smaller_task_stands_under_the_larger_one_wherever_it_came():
    assert folded("chain_check", "general_service") == [("general_service", ["chain_check"])]


def test_what_comes_with_what_comes_with_the_largest_stands_under_the_largest():
    # major_service includes general_service, which includes brakes_check: services/kinds
    assert folded("brakes_check", "major_service", "general_service") == [
        ("major_service", ["brakes_check", "general_service"])
    ]


def test_what_comes_with_nothing_stands_alone_and_in_its_order():
    assert folded("chain_check", "brakes_check") == [("chain_check", []), ("brakes_check", [])]
    assert folded() == []


def test_nothing_is_lost_or_told_twice_where_a_task_is_due_on_two_parts():
    left, right = told("brakes_check", parts=(1,)), told("brakes_check", parts=(2,))
    jobs = jobs_of([left, told("general_service"), right])
    assert [(job.told.code, job.along) for job in jobs] == [("general_service", (left, right))]
    twice = jobs_of([told("general_service", parts=(1,)), told("chain_check"), told("general_service", parts=(2,))])
    assert [len(job.along) for job in twice] == [1, 0]


@pytest.fixture
def page(time_machine) -> str:
    """A visit with a general service due on 1 May 2026 and the chain check that comes with it, overdue by then."""
    time_machine.move_to(DUE, tick=False)
    trike = trike_with(task_of("chain_check"), months=11)
    frame = make.ComponentFactory(part_type__kind="frame", state="fitted")
    make.FitmentFactory(trike=trike, component=frame, position="frame")
    make.ServiceIntervalFactory(
        task="general_service", part_kind="frame", every_km=None, every_months=12, early_km=0, early_days=30
    )
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return phone_of(token_for(trike, now=DUE)).get("/o/").content.decode()


def test_the_page_has_one_card_and_says_what_is_included_and_that_it_is_overdue(page):
    assert "1 job in one visit" in page
    assert page.count('<li class="task">') == 1
    assert "<b>Included:</b> Chain check (overdue)." in page
    assert "What is included" in page
    assert "Overdue: 1 job" in page  # the sheet at the top names the worst of all
