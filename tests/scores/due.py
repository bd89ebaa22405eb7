"""How near the named dates come to the true ones, and whether the range keeps its word; four plain rules beside it.

Learned once, from the same fleet's readings up to 15 January 2026, and kept for the year; true due days are never used.
"""

from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.forecast import HORIZON_DAYS, date_of
from tests.scores.goals import Goals
from tests.scores.plain_rules import (
    at_fleet_average,
    fixed_half_year,
    fleet_average,
    last_two,
    overall_average,
    raw_points,
)
from tests.scores.standing import learned, points_on
from tests.simulator.fleet import Fleet, Tasks, as_of_days, simulate, tasks

SEEDS = (211, 212, 213)
FEW_SEEDS = tuple(range(221, 231))  # only their machines with no or one reading: there are too few in three fleets
LEVELS = np.round(np.arange(0.05, 0.96, 0.05), 2)
LOW, MIDDLE, HIGH = 1, 9, 17
HORIZONS = {30: (15, 45), 90: (60, 120), 180: (135, 225)}
BY_READINGS = ((0, 0), (1, 1), (2, 3), (4, 7), (8, 99))
BY_AGE = ((0, 30), (31, 90), (91, 180), (181, 365), (366, 9999))
CRPS_CAP = 365.0


@dataclass
class Scored:
    """Forecasts of one fleet on its as-of days, in days from the as-of day: levels (k, 19), truth (k,), rules by name (k,)."""

    levels: np.ndarray
    truth: np.ndarray
    readings: np.ndarray
    age: np.ndarray
    machine: np.ndarray
    rules: dict[str, np.ndarray]

    def error(self, dates: np.ndarray, horizon: int) -> float:
        """Median absolute error in days for tasks truly due about `horizon` days ahead."""
        low, high = HORIZONS[horizon]
        within = (self.truth >= low) & (self.truth <= high)
        return float(np.median(np.abs(dates - self.truth)[within]))

    def coverage(self, which: np.ndarray | slice = slice(None)) -> float:
        """Share of true dates inside the 80 % range, to half a day."""
        truth, levels = self.truth[which], self.levels[which]
        return float(np.mean((truth >= levels[:, LOW] - 0.5) & (truth <= levels[:, HIGH] + 0.5)))

    def crps(self, dates: np.ndarray | None = None) -> float:
        """Twice the mean pinball loss over 19 quantiles, dates clipped to a year; of single `dates`: the absolute error."""
        truth = np.clip(self.truth, 0.0, CRPS_CAP)[:, None]
        said = np.clip(self.levels if dates is None else dates[:, None], 0.0, CRPS_CAP)
        levels = LEVELS if dates is None else np.array([0.5])
        return float(2 * np.mean(np.where(truth >= said, levels * (truth - said), (1 - levels) * (said - truth))))


def scored(fleet: Fleet, seed: int, days: list[float], rates: FleetRates, most_readings: int = 99) -> Scored:
    """Return the forecasts of one fleet on `days`, made with `rates` and what was typed by then."""
    return joined([_scored_on(fleet, seed, day, rates, most_readings) for day in days])


def joined(parts: list[Scored]) -> Scored:
    """Return several as one."""
    names = parts[0].rules
    return Scored(
        np.concatenate([part.levels for part in parts]), np.concatenate([part.truth for part in parts]),
        np.concatenate([part.readings for part in parts]), np.concatenate([part.age for part in parts]),
        np.concatenate([part.machine for part in parts]),
        {name: np.concatenate([part.rules[name] for part in parts]) for name in names},
    )  # fmt: skip


def _scored_on(fleet: Fleet, seed: int, day: float, rates: FleetRates, most_readings: int) -> Scored:
    asked = tasks(fleet, day, seed)
    counted = np.bincount(fleet.machine[fleet.known_on(day)], minlength=fleet.n)
    only = counted <= most_readings
    asked = Tasks(*(column[only[asked.machine]] for column in (asked.machine, asked.target_km, asked.due_day)))
    points, raw = points_on(fleet, day, rates, only), raw_points(fleet, day, only)
    state = points.states(rates)
    dates = date_of(state, asked.target_km, LEVELS, day + HORIZON_DAYS, rates)
    typical = fleet_average(points)
    rules = {
        "fixed 6 months": fixed_half_year(fleet, asked, day, seed),
        "fleet average": at_fleet_average(points, asked, typical),
        "last two readings, raw": last_two(raw, asked, typical),
        "overall average, raw": overall_average(raw, asked, typical),
        "overall average, cleaned": overall_average(points, asked, typical),
    }
    capped = {name: np.minimum(said - day, HORIZON_DAYS) for name, said in rules.items()}
    return Scored(
        np.minimum(dates - day, HORIZON_DAYS), asked.due_day - day, counted[asked.machine],
        day - np.asarray(state.last_day), asked.machine + fleet.n * seed, capped,
    )  # fmt: skip


def best_rule(result: Scored, horizon: int) -> float:
    """Return the smallest median error of the plain rules."""
    return min(result.error(said, horizon) for said in result.rules.values())


def main(options: list[str]) -> int:
    """Score three fleets of 2,000 machines on twelve days; --quick: one of 600 on four days, with wider goals."""
    quick = "--quick" in options
    seeds, n, days = (SEEDS[:1], 600, as_of_days()[::3]) if quick else (SEEDS, 2000, as_of_days())
    parts = []
    for seed in seeds:
        fleet = simulate(seed, n)
        rates = learned(fleet, as_of_days()[0])
        parts.append(scored(fleet, seed, days, rates))
    result = joined(parts)
    few = [] if quick else [scored(simulate(seed, n), seed, days, rates, most_readings=1) for seed in FEW_SEEDS]
    goals = Goals(f"due dates: {len(seeds)} x {n} machines, {len(days)} days, {len(result.truth):,} forecasts")
    slack = 1.15 if quick else 1.0
    _judge_errors(goals, result, slack)
    _judge_coverage(goals, result, joined([result, *few]), 0.03 if quick else 0.0)
    return goals.ended()


def _judge_errors(goals: Goals, result: Scored, slack: float) -> None:
    for name, said in result.rules.items():
        errors = " / ".join(f"{result.error(said, horizon):.0f}" for horizon in HORIZONS)
        goals.say(f"plain rule: {name:<30}{errors:>20} days, CRPS {result.crps(said):.1f}")
    middle = result.levels[:, MIDDLE]
    for horizon, goal in zip(HORIZONS, (24, 38, 58), strict=True):
        goals.at_most(f"median error {horizon} days ahead (days)", result.error(middle, horizon), goal * slack)
    goals.at_most("CRPS (days)", result.crps(), 34 * slack)
    for horizon in (90, 180):
        times = best_rule(result, horizon) / result.error(middle, horizon)
        goals.at_least(f"times nearer than the best plain rule, {horizon} days", times, 1.8 / slack)


def _judge_coverage(goals: Goals, result: Scored, with_few: Scored, slack: float) -> None:
    goals.within("80 % range holds, overall", result.coverage(), 0.78 - slack, 0.86 + slack)
    for low, high in BY_READINGS:
        pool = with_few if high <= 1 else result
        _judge_class(goals, pool, pool.readings, (low, high), "readings", slack)
    for ages in BY_AGE:
        _judge_class(goals, result, result.age, ages, "days old", slack)


def _judge_class(
    goals: Goals, pool: Scored, values: np.ndarray, ends: tuple[int, int], word: str, slack: float
) -> None:
    which = (values >= ends[0]) & (values < ends[1] + 1)
    if which.any():
        machines = len(np.unique(pool.machine[which]))  # a machine's forecasts depend on one another
        name = f"... with {ends[0]}-{ends[1]} {word}"
        goals.within(name, pool.coverage(which), 0.75 - slack, 0.88 + slack, machines)
