"""Visits scored in rolling years: plan every Monday, book what comes near, ride, replan. `python -m tests.scores visits`.

The fleet, prices and lateness are those of the method's own trial: six tasks a machine, forecasts with a standard
deviation of a quarter of the time left. Planners for comparison live here; what ships is in services/visit_plan.py.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from services.visit_plan import plan_days
from services.visits import LATEST_LEVEL

INTERVALS = np.array(
    [150.0, 420.0, 500.0, 120.0, 1100.0, 365.0]
)  # chain check, chain, hub oil, shock air, elastomers, year
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
        latest = quantiles @ np.array([np.interp(level, LEVELS, row) for row in np.eye(len(LEVELS))])
        for machine in np.flatnonzero(latest.min(axis=1) < 21):  # the first visit is never before the first latest day
            made = plan_days(
                days, quantiles[machine], LEVELS, price=np.full(len(days), trip), trip_price=trip, waste=WASTE, late=LATE,
                intervals=INTERVALS, latest=latest[machine],
            )  # fmt: skip
            on[machine] = days[made.columns[0]]
            taken[machine] = made.done_on == made.columns[0]
        return on, taken

    return plan


def costs(found: np.ndarray, trip: float) -> np.ndarray:
    """Total cost of each machine and year at this trip cost."""
    return found[:, 0] * trip + found[:, 2] + found[:, 3]


PLAIN = {
    "each task alone": alone,
    "also due within 30": rule(30),
    "also due within 60": rule(60),
    "also due within 120": rule(120),
}
WORLDS = {
    "booked up to 7 days ahead, a new forecast error each week": {"booked_ahead": 7},
    "booked up to 14 days ahead, errors that last": {"booked_ahead": 14, "lasting": 0.8},
}


def show(name: str, found: np.ndarray, trip: float) -> None:
    """Print a row of the table."""
    print(f"  {name:22s}", *(f"{value:12.2f}" for value in found.mean(axis=0)), f"{costs(found, trip).mean():12.1f}")


def judge(planned: np.ndarray, plain: dict[str, np.ndarray], trip: float, allowed: float) -> bool:
    """Print the goals of one trip cost beside what was found; return whether both are met."""
    best = min(plain, key=lambda name: costs(plain[name], trip).mean())
    against = costs(planned, trip) - costs(plain[best], trip)
    error = against.std() / len(against) ** 0.5
    dearest = costs(plain[best], trip).mean() * (1 + allowed)
    cheaper = costs(planned, trip).mean() < dearest
    fewest = min(found[:, 4].mean() for found in plain.values())
    in_time = planned[:, 4].mean() <= fewest * (1 + 20 * allowed)
    print(
        f"    cost/yr      goal < {dearest:7.1f}  measured {costs(planned, trip).mean():7.1f}  {'ok' if cheaper else 'MISSED'}"
    )
    print(
        f"    overdue days goal <= {fewest:6.2f}  measured {planned[:, 4].mean():7.2f}  {'ok' if in_time else 'MISSED'}"
    )
    print(f"    against '{best}': {against.mean():+.1f} a year, standard error {error:.1f}")
    return cheaper and in_time


def main(argv: list[str]) -> int:
    """Print the table of all planners. `--quick`: 60 machines of the first world, which tell no difference below 1 %."""
    quick = "--quick" in argv
    met = True
    for name, world in list(WORLDS.items())[: 1 if quick else None]:
        fleet = years(902, 60 if quick else 400, **world)
        plain = {word: roll(fleet, planner) for word, planner in PLAIN.items()}
        print(f"{name}; {len(fleet.first)} machines, 4 years")
        print(" " * 24, *(f"{word:>12s}" for word in (*FOUND, "cost/yr")))
        for trip in TRIPS:
            planned = roll(fleet, exact(trip))
            print(f"trip cost {trip:.0f}")
            for word, found in plain.items():
                show(word, found, trip)
            show("exact plan", planned, trip)
            met &= judge(planned, plain, trip, 0.01 if quick else 0.0)
    return 0 if met else 1
