"""When to ask for a reading, when to remind, and when to wait: asking first, with a fresh reading one date is as good as two.

By cost the right chance is waste / (waste + lateness); the levels here were chosen on simulated fleets (tests/scores/reminders):
safety tasks are announced without waiting for an answer, and from a lower chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np


class Step(IntEnum):
    """What to do about one task today."""

    WAIT = 0
    ASK = 1
    REMIND = 2


@dataclass(frozen=True)
class ReminderRule:
    """Days and chances. lead_days: how long before a task is due the owner should know; chances are of being due by then.

    ask: ask for a reading from this chance on; remind: with a reading younger than `fresh_days`; unanswered: without;
    safety: for tasks that must not be missed; ask_every, answer_days: days between questions, and before one is given up.
    """

    lead_days: float = 14.0
    ask: float = 0.04
    remind: float = 0.15
    unanswered: float = 0.17
    safety: float = 0.025
    fresh_days: float = 21.0
    ask_every: float = 28.0
    answer_days: float = 7.0


RULE = ReminderRule()

ASKED_MOST = ((365.0, 2), (730.0, 3))  # (days, questions in them): 1.5 a year, and two only where one was answered
UNANSWERED_DAYS = 243.0  # before who did not answer is asked again: two thirds of a year


def may_ask(question_ages: Sequence[float], reading_age: float, rule: ReminderRule = RULE) -> bool:
    """Return whether one more question is welcome. question_ages: days since each that the owner got about this trike.

    reading_age: days since its last accepted reading. Not within `rule.ask_every` days of the last question, not within
    UNANSWERED_DAYS of one that brought no reading, and never more than ASKED_MOST says.
    """
    if not question_ages:
        return True
    last = min(question_ages)
    wait = rule.ask_every if reading_age < last else max(rule.ask_every, UNANSWERED_DAYS)
    return last >= wait and all(sum(age < days for age in question_ages) < most for days, most in ASKED_MOST)


def next_step(
    chance: np.ndarray | float, reading_age: np.ndarray | float, question_age: np.ndarray | float,
    is_safety: np.ndarray | bool = False, rule: ReminderRule = RULE,
) -> np.ndarray:  # fmt: skip
    """Return a Step for each task. chance: that it is due within `rule.lead_days` (services/forecast.py, chance_by).

    reading_age: days since the last accepted reading (since delivery without one); question_age: days since the owner was
    last asked for one, inf: never. Elementwise; a task reminded of once needs no further step.
    """
    chance, is_safety = np.asarray(chance, dtype=float), np.asarray(is_safety)
    is_fresh = np.asarray(reading_age) <= rule.fresh_days
    answered = np.asarray(reading_age) < question_age
    is_open = ~answered & (np.asarray(question_age) < rule.answer_days)
    asks = ~is_fresh & (chance >= rule.ask) & (np.asarray(question_age) >= rule.ask_every)
    reminds = ~asks & ~is_open & (chance >= np.where(is_fresh, rule.remind, rule.unanswered))
    step = np.where(asks, Step.ASK, np.where(reminds, Step.REMIND, Step.WAIT))
    return np.where(is_safety & (chance >= rule.safety), Step.REMIND, step)
