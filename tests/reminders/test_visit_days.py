"""The planned day: explained task by task, kept while the plan hardly moves, never past a safety task's early date."""

from datetime import timedelta

import pytest

from tests.reminders.conftest import DUE, days, fit, some_task, trike_with
from tracker.actions.reminders import sweep_trikes
from tracker.models import DueLine, Visit

pytestmark = pytest.mark.django_db


def visit_of(trike, now) -> Visit:
    sweep_trikes(trike_ids=[trike.pk], now=now)
    return Visit.objects.get(trike=trike, state="open")


def test_each_task_of_a_visit_says_why_it_is_done_then():
    first, second = some_task(safety=False), some_task(safety=True)
    trike = trike_with(first)
    if second.on == first.on:
        pytest.fail("two kinds of parts are needed")
    fit(trike, second, months=13)
    visit = visit_of(trike, DUE - days(3))
    told = list(visit.lines.values_list("reason", flat=True))
    assert all(told)
    assert visit.words


def test_a_day_that_the_plan_would_move_by_less_than_a_week_stands():
    trike = trike_with(some_task(safety=False))
    visit = visit_of(trike, DUE - days(10))
    stands = visit.planned_on + timedelta(days=3)
    Visit.objects.filter(pk=visit.pk).update(planned_on=stands)
    assert visit_of(trike, DUE - days(9)).planned_on == stands
    Visit.objects.filter(pk=visit.pk).update(planned_on=visit.planned_on + timedelta(days=12))
    assert visit_of(trike, DUE - days(9)).planned_on != visit.planned_on + timedelta(days=12)


def test_a_day_after_a_safety_tasks_limit_does_not_stand():
    trike = trike_with(some_task(safety=True))
    visit = visit_of(trike, DUE - days(10))
    limit = DueLine.objects.get(trike=trike, due_on__isnull=False).likely_from
    assert visit.planned_on <= limit
    Visit.objects.filter(pk=visit.pk).update(planned_on=limit + timedelta(days=2))
    assert visit_of(trike, DUE - days(9)).planned_on <= limit


def test_a_day_that_is_past_moves_on():
    trike = trike_with(some_task(safety=False))
    visit = visit_of(trike, DUE)
    Visit.objects.filter(pk=visit.pk).update(planned_on=DUE.date() - timedelta(days=2))
    assert visit_of(trike, DUE + days(1)).planned_on > DUE.date() - timedelta(days=2)
