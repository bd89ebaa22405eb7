"""One visit for what falls due together. The rule and its numbers are the workshop's own."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.visit_plan import next_visit
from services.visits import VisitTask, stage

TODAY = date(2026, 5, 4)  # a Monday
SUNDAY = {6}


def task(key, days, *, safety=False, minutes=10, title="", early=0):
    due = TODAY + timedelta(days=days)
    return VisitTask(key, due, due - timedelta(days=early), safety, minutes, title)


def test_what_lies_beyond_the_lead_calls_for_no_visit_yet():
    assert next_visit([], TODAY) is None
    assert next_visit([task("oil", 16)], TODAY, closed_weekdays=SUNDAY) is None
    assert next_visit([task("oil", 14)], TODAY, closed_weekdays=SUNDAY).on <= TODAY + timedelta(days=14)


def test_a_task_whose_early_window_is_open_calls_for_a_visit():
    assert next_visit([task("oil", 30, early=30)], TODAY, closed_weekdays=SUNDAY) is not None


def test_what_is_overdue_is_planned_for_today():
    assert next_visit([task("oil", -20)], TODAY, closed_weekdays=SUNDAY).on == TODAY


tasks = st.lists(
    st.tuples(st.integers(-30, 200), st.booleans(), st.integers(0, 60)).map(
        lambda t: task(t, t[0], safety=t[1], early=t[2])
    ),
    max_size=8,
)


@given(tasks, st.sets(st.integers(0, 6), max_size=5))
def test_a_visit_is_never_past_never_on_a_closed_day_and_not_after_a_safety_task_of_it_that_can_be_kept(lines, closed):
    visit = next_visit(lines, TODAY, closed_weekdays=closed)
    if visit is None:
        return
    assert visit.on >= TODAY
    assert visit.on.weekday() not in closed
    first_open = next(
        TODAY + timedelta(days=n) for n in range(7) if (TODAY + timedelta(days=n)).weekday() not in closed
    )
    for line in lines:
        if line.safety and line.key in visit.keys and line.due_on >= first_open:
            assert visit.on <= line.due_on


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
