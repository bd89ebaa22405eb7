"""When to ask, to remind, to wait. The levels are the project's own, chosen on simulated fleets."""

import numpy as np
import pytest

from services.reminding import RULE, ReminderRule, Step, may_ask, next_step

NEVER = np.inf


def test_far_from_due_one_waits():
    assert next_step(0.01, 100, NEVER) == Step.WAIT


def test_an_old_reading_is_asked_about_before_a_reminder():
    assert next_step(0.9, 100, NEVER) == Step.ASK


def test_a_fresh_reading_needs_no_question():
    assert next_step(0.9, 5, NEVER) == Step.REMIND
    assert next_step(0.1, 5, NEVER) == Step.WAIT


@pytest.mark.parametrize(("since", "step"), [(3, Step.WAIT), (7, Step.REMIND), (27, Step.REMIND), (28, Step.ASK)])
def test_a_question_is_given_a_week_and_not_repeated_for_four(since, step):
    assert next_step(0.5, 100, since) == step


def test_an_answer_ends_the_waiting():
    assert next_step(0.5, 1, 2) == Step.REMIND


def test_after_an_answer_that_shows_time_left_one_waits():
    assert next_step(0.1, 2, 5) == Step.WAIT


def test_a_safety_task_does_not_wait_for_an_answer():
    assert next_step(0.1, 100, NEVER, is_safety=True) == Step.REMIND


def test_a_safety_task_far_from_due_is_not_announced():
    assert next_step(0.001, 100, NEVER, is_safety=True) == Step.WAIT


def test_the_rule_is_a_setting():
    assert next_step(0.01, 5, NEVER, rule=ReminderRule(remind=0.005)) == Step.REMIND


def test_many_tasks_are_single_calls():
    rng = np.random.default_rng(1)
    chance, age = rng.random(50) * 0.4, rng.uniform(0, 60, 50)
    question, safety = np.where(rng.random(50) < 0.5, NEVER, rng.uniform(0, 40, 50)), rng.random(50) < 0.3
    steps = next_step(chance, age, question, safety)
    assert [int(next_step(*row)) for row in zip(chance, age, question, safety, strict=True)] == steps.tolist()


def test_a_safety_task_is_announced_from_a_lower_chance():
    assert RULE.safety < RULE.ask < RULE.remind


def test_who_was_never_asked_may_be_asked():
    assert may_ask([], 400)


@pytest.mark.parametrize(
    ("ages", "reading_age", "welcome"),
    [
        ([27], 20, False),  # within four weeks
        ([28], 20, True),  # answered
        ([242], 300, False),  # unanswered
        ([243], 300, True),
        ([60, 200], 40, False),  # two in a year
        ([60, 400], 40, True),
        ([60, 400, 700], 40, False),  # three in two years
    ],
)
def test_a_question_is_rare_and_rarer_where_nobody_answers(ages, reading_age, welcome):
    assert may_ask(ages, reading_age) is welcome


def test_in_the_long_run_nobody_is_asked_more_than_one_and_a_half_times_a_year():
    asked = []
    for day in range(3650):
        if may_ask([day - before for before in asked], 1):  # answers every time
            asked.append(day)
    assert len(asked) <= 1.5 * 10 + 1
