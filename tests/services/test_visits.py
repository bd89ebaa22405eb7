"""One visit for what falls due together. The rule and its numbers are the workshop's own."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.visits import VisitTask, plan_visit, stage

TODAY = date(2026, 5, 4)  # a Monday
SUNDAY = {6}


def task(key, days, *, safety=False, minutes=10, title="", early=0):
    due = TODAY + timedelta(days=days)
    return VisitTask(key, due, due - timedelta(days=early), safety, minutes, title)


def plan(*tasks, closed=SUNDAY, **changes):
    return plan_visit(tasks, TODAY, closed_weekdays=closed, **changes)


def test_no_tasks_call_for_no_visit():
    assert plan() is None


def test_what_lies_beyond_the_lead_calls_for_no_visit_yet():
    assert plan(task("oil", 15)) is None
    assert plan(task("oil", 14)).on == TODAY + timedelta(days=14)


def test_a_task_whose_early_window_is_open_calls_for_a_visit():
    assert plan(task("oil", 30, early=30)) is not None
    assert plan(task("oil", 30, early=29)) is None


def test_what_falls_due_within_the_look_ahead_comes_along_in_the_order_it_falls_due():
    visit = plan(task("late", 71), task("chain", 70), task("oil", 10, minutes=40))
    assert visit.keys == ("oil", "chain")
    assert visit.minutes == 50


def test_what_is_overdue_is_planned_for_today():
    assert plan(task("oil", -20)).on == TODAY


def test_the_earliest_task_decides_the_day_and_the_words_say_so():
    visit = plan(task("oil", 3, title="Hub oil"), task("chain", 9), task("tyres", 12))
    assert visit.on == date(2026, 5, 7)
    assert visit.words == "Hub oil falls due on 7 May 2026; 2 more that fall due soon after come along."


def test_words_for_one_and_for_two_tasks():
    assert plan(task("oil", 3)).words == "The first task falls due on 7 May 2026."
    assert plan(task("oil", 3), task("b", 4)).words.endswith("; 1 more that falls due soon after comes along.")


def test_a_closed_day_moves_the_visit_before_it():
    assert plan(task("brakes", 6, safety=True)).on == date(2026, 5, 9)


def test_an_overdue_task_on_a_closed_day_waits_for_the_next_open_one():
    assert plan(task("oil", -5), closed={0, 1}).on == date(2026, 5, 6)


def test_a_workshop_that_never_opens_is_asked_for_the_day_itself():
    assert plan(task("oil", 3), closed=set(range(7))).on == date(2026, 5, 7)


tasks = st.lists(
    st.tuples(st.integers(-30, 200), st.booleans(), st.integers(0, 60)).map(
        lambda t: task(t, t[0], safety=t[1], early=t[2])
    ),
    max_size=8,
)


@given(tasks, st.sets(st.integers(0, 6), max_size=5))
def test_a_visit_is_never_past_never_on_a_closed_day_and_not_after_a_safety_task_that_can_be_kept(lines, closed):
    visit = plan_visit(lines, TODAY, closed_weekdays=closed)
    if visit is None:
        return
    assert visit.on >= TODAY
    assert visit.on.weekday() not in closed
    open_days = [TODAY + timedelta(days=n) for n in range(240) if (TODAY + timedelta(days=n)).weekday() not in closed]
    for line in lines:
        if line.safety and line.due_on >= open_days[0]:
            assert visit.on <= line.due_on


@given(tasks, st.randoms())
def test_the_order_of_tasks_does_not_matter(lines, random):
    mixed = list(lines)
    random.shuffle(mixed)
    assert plan_visit(lines, TODAY) == plan_visit(mixed, TODAY)


@pytest.mark.parametrize(
    ("late", "word"),
    [
        (-15, None),
        (-14, "heads_up"),
        (-1, "heads_up"),
        (0, "due"),
        (6, "due"),
        (7, "overdue"),
        (36, "overdue"),
        (37, "monthly-1"),
        (67, "monthly-2"),
    ],
)
def test_reminders_come_ahead_when_due_when_overdue_and_then_monthly(late, word):
    assert stage(TODAY, TODAY + timedelta(days=late)) == word
