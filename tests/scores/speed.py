"""How long the arithmetic takes on one core, by process time: the other core may be busy."""

import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from services.fleet_fit import fit_fleet, stretches_of
from services.fleet_rates import SHIPPED
from services.forecast import HORIZON_DAYS, LEVELS, date_of
from services.rates import fold, rate_of
from tests.scores.goals import Goals
from tests.scores.standing import points_on
from tests.simulator.fleet import Fleet, as_of_days, simulate

Answer = TypeVar("Answer")
TRIKES, TASKS = 100_000, 12
SEED, MACHINES = 261, 2000


def main(options: list[str]) -> int:
    """Time 100,000 trikes x 12 tasks from the readings of 2,000 simulated ones; --quick: a fifth of them, scaled up."""
    part = 5 if "--quick" in options else 1
    slack = 1.5 if part > 1 else 1.0  # a small run warms up less, and shares its machine with other checks
    fleet = simulate(SEED, MACHINES // 2 if part > 1 else MACHINES)
    day = as_of_days()[0]
    goals = Goals("speed: seconds of process time on one core")
    copies = TRIKES // part // fleet.n
    seconds, points = timed(lambda: points_on(fleet, day, SHIPPED), times=3)
    all_timelines = seconds * TRIKES / fleet.n
    goals.say(f"{fleet.n} timelines took {seconds:.2f} s: {all_timelines:.1f} s for 100,000")
    fit_seconds, rates = timed(
        lambda: fit_fleet(stretches_of(points.machine, points.day, points.life_km, points.southern))
    )
    goals.at_most("fleet fit of 2,000 machines", fit_seconds * MACHINES / fleet.n, 20.0)
    rate_seconds, _ = timed(lambda: points.states(rates))
    rng = np.random.default_rng(1)
    state = points.states(rates)
    machines = np.tile(np.repeat(np.arange(len(state.m)), TASKS), copies)
    many = state.take(machines)
    targets = np.asarray(many.last_km) + rng.uniform(1.0, 4000.0, len(machines))
    task_seconds, _ = timed(lambda: date_of(many, targets, LEVELS, day + HORIZON_DAYS, rates), times=2)
    scale = TRIKES * TASKS / len(machines)
    standing = task_seconds * scale + rate_seconds * TRIKES / fleet.n
    goals.at_most("100,000 trikes x 12 tasks x 3 quantiles, timelines stand", standing, 10.0 * slack)
    goals.at_most("... timelines and all", standing + all_timelines, 40.0 * slack)
    goals.at_most("one new reading, 30 readings, 12 tasks (milliseconds)", _one_reading(fleet, day), 25.0 * slack)
    return goals.ended()


def timed(work: Callable[[], Answer], times: int = 1) -> tuple[float, Answer]:
    """(seconds of process time, the least of some `times`: a busy neighbour slows the cache, what it gave)."""
    seconds = []
    for _ in range(times):
        begun = time.process_time()
        answer = work()
        seconds.append(time.process_time() - begun)
    return min(seconds), answer


def _one_reading(fleet: Fleet, day: float) -> float:
    """Milliseconds for one machine of thirty readings: its timeline anew, its rate, three quantiles of twelve tasks."""
    busiest = int(np.argmax(np.bincount(fleet.machine[fleet.known_on(day)], minlength=fleet.n)))
    only = np.arange(fleet.n) == busiest

    def work() -> None:
        points = points_on(fleet, day, SHIPPED, only)
        state = rate_of(points.day, points.life_km, fleet=SHIPPED)
        state = fold(state, day, points.life_km[-1] + 100.0, fleet=SHIPPED)
        date_of(state, float(state.last_km) + np.arange(100.0, 1300.0, 100.0), LEVELS, day + HORIZON_DAYS, SHIPPED)

    work()
    return 1000.0 * timed(work, times=7)[0]
