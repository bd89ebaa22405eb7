"""Visits scored in rolling years: plan every Monday, book what comes near, ride, replan. `python -m tests.scores visits`.

The fleet, prices and lateness are those of the method's own trial: six tasks a machine, forecasts with a standard
deviation of a quarter of the time left. Planners for comparison live here; what ships is in services/visit_plan.py.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from services.visit_plan import plan_days
from services.visits import LATEST_LEVEL

INTERVALS = np.array([150.0, 420.0, 500.0, 120.0, 1100.0, 365.0])  # chain check, chain, hub oil, shock air, elastomers, year
PRICES = np.array([25.0, 70.0, 90.0, 15.0, 120.0, 80.0])
LATE = np.array([0.3, 1.2, 0.6, 0.4, 0.4, 0.5])  # per day
WASTE = PRICES / INTERVALS
TRIPS = (30.0, 60.0, 120.0)
RANGE = 0.25  # standard deviation of a forecast, as a share of the time left
LEVELS = np.array([0.1, 0.5, 0.9])
STEPS = np.array([-1.2816, 0.0, 1.2816])
FOUND = ("visits/yr", "jobs/yr", "waste", "late", "overdue days")

Planner = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]  # days left as seen -> day, tasks taken


@dataclass(frozen=True)
class Years:
    """Machines x tasks: days to the first due day, lives after it, and the forecast's error of every Monday."""

    first: np.ndarray
    lives: np.ndarray  # machines x tasks x occurrence
    errors: np.ndarray  # weeks x machines x tasks, standard deviations
    booked_ahead: int  # days before a visit on which its day and its tasks are settled


def years(seed: int, machines: int, count: int = 4, *, lasting: float = 0.0, booked_ahead: int = 7) -> Years:
    """Draw a fleet. `lasting`: how much of a forecast's error is left a week later; 0: a new error every week."""
    rng = np.random.default_rng(seed)
    shape = (machines, len(INTERVALS))
    lives = INTERVALS[None, :, None] * np.exp(0.2 * rng.standard_normal((*shape, 70)) - 0.02)
    first = rng.uniform(0, 1, shape) * lives[:, :, 0]
    errors = rng.standard_normal((count * 52, *shape))
    for week in range(1, len(errors)):
        errors[week] = lasting * errors[week - 1] + (1 - lasting**2) ** 0.5 * errors[week]
    return Years(first, lives, np.clip(errors, -3, 3), booked_ahead)


def roll(fleet: Years, planner: Planner) -> np.ndarray:
    """Return machines x FOUND, per year. Every Monday the planner sees the days left as forecast, and answers with a day
    from then and the tasks for it; what is nearer than `booked_ahead` is settled and done on that day."""
    due, machines = fleet.first.copy(), len(fleet.first)
    times = np.ones(due.shape, dtype=int)
    settled_until = np.full(machines, -1.0)
    found = np.zeros((machines, len(FOUND)))
    for week, errors in enumerate(fleet.errors):
        today = 7.0 * week
        left = due - today
        seen = np.where(left > 0, left * (1 + RANGE * errors), left)
        free = np.flatnonzero(settled_until < today)
        on, taken = planner(seen[free])
        for machine, day, tasks in zip(free, today + on, taken, strict=True):
            if day >= today + fleet.booked_ahead:
                continue
            spare = due[machine, tasks] - day
            over = np.maximum(-spare, 0)
            waste, late = WASTE[tasks] @ np.maximum(spare, 0), LATE[tasks] @ over
            found[machine] += 1, tasks.sum(), waste, late, over.sum()
            due[machine, tasks] = day + fleet.lives[machine, tasks, times[machine, tasks]]
            times[machine, tasks] += 1
            settled_until[machine] = day
    return found / (len(fleet.errors) * 7 / 365)


def open_day(day: np.ndarray) -> np.ndarray:
    """The last working day not after `day`; day 0 is a Monday."""
    day = np.maximum(np.floor(day), 0)
    return day - np.maximum(day % 7 - 4, 0)


def rule(window: float) -> Planner:
    """The plain rule: come when the first task falls due, and do all that falls due within `window` days of it."""

    def plan(seen):
        on = open_day(seen.min(axis=1))
        taken = seen <= on[:, None] + window
        taken[np.arange(len(seen)), seen.argmin(axis=1)] = True
        return on, taken

    return plan


def alone(seen):
    """Each task has its own visit."""
    taken = np.zeros(seen.shape, dtype=bool)
    taken[np.arange(len(seen)), seen.argmin(axis=1)] = True
    return open_day(seen.min(axis=1)), taken


def exact(trip: float, level: float = LATEST_LEVEL, horizon: int = 182) -> Planner:
    """The exact plan at this trip cost; `level`: of the due day after which nothing is put off."""
    days = np.array([day for day in range(horizon) if day % 7 < 5], dtype=float)

    def plan(seen):
        on, taken = np.full(len(seen), np.inf), np.zeros(seen.shape, dtype=bool)
        quantiles = seen[:, :, None] + RANGE * np.maximum(seen, 0)[:, :, None] * STEPS
        share = np.interp(level, LEVELS, [0.0, 1.0, 2.0]) - 1
        latest = quantiles[:, :, 1] + share * (quantiles[:, :, 2] - quantiles[:, :, 1])
        for machine in np.flatnonzero(latest.min(axis=1) < 21):  # the first visit is never before the first latest day
            made = plan_days(
                days, quantiles[machine], LEVELS, price=np.full(len(days), trip), trip_price=trip, waste=WASTE, late=LATE,
                intervals=INTERVALS, latest=latest[machine],
            )  # fmt: skip
            on[machine] = days[made.columns[0]]
            taken[machine] = made.done_on == made.columns[0]
        return on, taken

    return plan
