"""What early warning costs: a weekly walk through 2026, asking owners for readings of whom half answer a week later.

Missed: of the tasks that fall due in the year, the share that did so before any message. Early: of the messages, the share
more than sixty days before the task is due, or never. Learned once, on 15 January's readings, and kept.
"""

from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.forecast import chance_by
from services.rates import fold
from services.reminding import RULE, ReminderRule, Step, next_step
from tests.scores.goals import Goals
from tests.scores.standing import learned, points_on
from tests.simulator.fleet import Fleet, as_of_days, simulate, tasks

SEEDS = (241, 242)
WEEKS = 52
ANSWERING = 0.5
EARLY_DAYS = 60.0
NEVER = np.inf


@dataclass
class Walked:
    """Of each task: the day of the message (inf: none), its true due day; questions asked of all machines in the year."""

    told: np.ndarray
    due_day: np.ndarray
    start: float
    questions: int

    @property
    def missed(self) -> float:
        """Share of the tasks due in the year that fell due before any message."""
        due = (self.due_day > self.start) & (self.due_day <= self.start + 7 * WEEKS)
        return float(np.mean(self.told[due] > self.due_day[due]))

    def early(self, with_overdue: bool = False) -> float:
        """Share of messages more than sixty days ahead; `with_overdue`: those of tasks due at the start counted too."""
        sent = np.isfinite(self.told) & (with_overdue | (self.due_day > self.start))
        return float(np.mean(self.due_day[sent] - self.told[sent] > EARLY_DAYS))


class Year:
    """One simulated fleet in 2026, its timelines by the product week after week; walked under as many rules as one likes."""

    def __init__(self, seed: int, n: int) -> None:
        self.fleet: Fleet = simulate(seed, n)
        self.seed = seed
        self.start = as_of_days()[0]
        self.rates: FleetRates = learned(self.fleet, self.start)
        self.asked = tasks(self.fleet, self.start, seed)
        self.delivered = np.zeros(n, dtype=bool)
        self.delivered[self.asked.machine] = True
        self.days = self.start + 7.0 * np.arange(WEEKS)
        self.states = [points_on(self.fleet, day, self.rates, self.delivered).states(self.rates) for day in self.days]

    def walk(self, is_safety: bool, rule: ReminderRule = RULE, answering: float = ANSWERING) -> Walked:
        """Ask, remind and wait by the product's rule, week by week."""
        rng = np.random.default_rng([self.seed, 7])
        n = len(self.asked.machine)
        answers = rng.random((WEEKS, n)) < answering
        told, asked_on = np.full(n, NEVER), np.full(n, -NEVER)
        answer_day, answer_km = np.full(n, -NEVER), np.zeros(n)
        questions = 0
        for week, day in enumerate(self.days):
            state = self.states[week]
            answered = answer_day > np.asarray(state.last_day)
            folded = fold(state, np.where(answered, answer_day, state.last_day), answer_km, fleet=self.rates)
            chance = chance_by(folded, day + rule.lead_days, self.asked.target_km, self.rates)
            step = next_step(chance, day - folded.last_day, day - asked_on, is_safety, rule)
            waiting = ~np.isfinite(told)
            told[waiting & (step == Step.REMIND)] = day
            asks = waiting & (step == Step.ASK)
            asked_on[asks] = day
            questions += int(asks.sum())
            does = asks & answers[week]
            answer_day[does] = day + 1.0
            answer_km[does] = self.fleet.life_on(self.asked.machine[does], day + 1.0)
        return Walked(told, self.asked.due_day, self.start, questions)


def main(options: list[str]) -> int:
    """Score two fleets of 2,000 machines; --quick: one of 500."""
    quick = "--quick" in options
    years = [Year(SEEDS[0], 500)] if quick else [Year(seed, 2000) for seed in SEEDS]
    slack = 0.04 if quick else 0.0
    goals = Goals(f"reminders: {sum(len(year.asked.machine) for year in years):,} tasks, a week at a time")
    safety, other = (_together([year.walk(is_safety) for year in years]) for is_safety in (True, False))
    goals.at_most("safety tasks: missed before any message", safety.missed, 0.04 + slack / 2, 3)
    goals.say(f"safety tasks: more than 60 days early {safety.early():.3f}")
    goals.at_most("other tasks: missed before any message", other.missed, 0.15 + slack, 3)
    goals.at_most("other tasks: more than 60 days early", other.early(), 0.28 + slack, 3)
    goals.say(f"... counting messages of tasks overdue at the start: {other.early(with_overdue=True):.3f}")
    machines = sum(len(year.asked.machine) for year in years)
    goals.at_most("questions a machine and year", other.questions / machines, 1.5, 2)
    return goals.ended()


def _together(parts: list[Walked]) -> Walked:
    told, due = (np.concatenate([getattr(part, name) for part in parts]) for name in ("told", "due_day"))
    return Walked(told, due, parts[0].start, sum(part.questions for part in parts))
