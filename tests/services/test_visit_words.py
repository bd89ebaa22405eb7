"""The sentences of a visit. The wording is the workshop's own."""

from datetime import date, timedelta

import pytest

from services.visit_words import calling, reasons, words
from services.visits import VisitTask, latest_on

ON = date(2026, 5, 7)


def task(title, days, **more):
    due = ON + timedelta(days=days)
    return VisitTask(title or "x", due, due, title=title, **more)


CHAIN, OIL = task("Chain", 0), task("Hub oil", 12)


def test_a_task_done_early_says_how_far_it_moved_and_to_go_with_what():
    assert reasons([CHAIN, OIL], ON) == (
        "Chain falls due on 7 May 2026.",
        "Hub oil moved 12 days forward to go with the chain.",
    )


def test_no_tasks_have_no_reasons():
    assert reasons([], ON) == ()


@pytest.mark.parametrize(
    ("along", "sentence"),
    [
        (task("Oil", 1), "Oil moved 1 day forward to go with the chain."),
        (task("Oil", 0), "Oil falls due on the same day."),
        (task("", 5), "Another task moved 5 days forward to go with the chain."),
    ],
)
def test_what_comes_along(along, sentence):
    assert reasons([CHAIN, along], ON)[1] == sentence


def test_what_was_due_before_the_visit_says_since_when():
    assert reasons([task("Chain", -9), task("Oil", -2)], ON) == (
        "Chain has been due since 28 Apr 2026.",
        "Oil has been due since 5 May 2026.",
    )


def test_a_title_in_capitals_keeps_them_inside_a_sentence():
    assert reasons([task("PU bushes", 0), OIL], ON)[1].endswith("to go with the PU bushes.")
    assert reasons([task("", 0), OIL], ON)[1].endswith("to go with the first task.")


def test_the_words_of_a_visit_name_two_and_count_the_rest():
    assert words([CHAIN], ON) == "Chain falls due on 7 May 2026."
    assert words([CHAIN, OIL], ON) == "Chain falls due on 7 May 2026. Hub oil moved 12 days forward to go with it."
    more = [task("Tyres", 20), task("Pads", 21)]
    assert words([CHAIN, OIL, *more[:1], more[1]], ON).endswith(
        "Tyres moved 20 days forward to go with it. 1 more comes along."
    )
    assert words([CHAIN, OIL, *more, task("Year", 30)], ON).endswith("2 more come along.")


def test_a_date_with_a_range_is_told_as_about():
    spread = tuple(ON + timedelta(days=n) for n in (-5, 0, 5))
    assert (
        words([task("Chain", 0, quantiles=spread, levels=(0.1, 0.5, 0.9))], ON) == "Chain falls due about 7 May 2026."
    )


def test_a_safety_task_calls_by_the_day_that_nine_in_ten_outlast():
    spread = tuple(ON + timedelta(days=n) for n in (0, 20, 40))
    brakes = task("Brake pads", 20, quantiles=spread, levels=(0.1, 0.5, 0.9), safety=True)
    assert latest_on(brakes) == ON
    assert calling([task("Oil", 3), brakes]) is brakes
    assert words([brakes], ON) == "Brake pads must be done by 7 May 2026."
    assert words([brakes], ON + timedelta(days=1)) == "Brake pads should have been done by 7 May 2026."


def test_without_a_range_the_latest_day_is_the_due_day():
    assert latest_on(task("Oil", 3)) == ON + timedelta(days=3)
