"""When to ask, to remind, to wait. The levels are the project's own, chosen on simulated fleets."""

import numpy as np
import pytest

from services.reminding import RULE, ReminderRule, Step, next_step

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
