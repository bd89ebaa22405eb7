"""Worlds that nothing was tuned for: whether the range still keeps its word, and how much nearer than the best plain rule.

The numbers of the fleet are learned anew in each world; the code and its shipped values stay.
"""

from tests.scores.due import Scored, scored
from tests.scores.goals import Goals
from tests.scores.standing import learned
from tests.simulator.fleet import as_of_days, simulate
from tests.simulator.worlds import WORLDS

SEED = 251
MACHINES, QUICK_MACHINES = 1500, 250


def main(options: list[str]) -> int:
    """Score every world but the base one with 1,500 machines on four days; --quick: 250 on two, with wider goals."""
    quick = "--quick" in options
    days = as_of_days()[::6] if quick else as_of_days()[::3]
    worlds = [world for world in WORLDS if world != "base"]
    goals = Goals(f"worlds: {len(worlds)} x {QUICK_MACHINES if quick else MACHINES} machines, {len(days)} days")
    for world in worlds:
        fleet = simulate(SEED, QUICK_MACHINES if quick else MACHINES, world)
        result = scored(fleet, SEED, days, learned(fleet, as_of_days()[0]))
        _judge(goals, world, result, 0.05 if quick else 0.0)
    return goals.ended()


def _judge(goals: Goals, world: str, result: Scored, slack: float) -> None:
    best = min(result.crps(said) for said in result.rules.values())
    goals.say(f"{world}: CRPS {result.crps():.1f} days, best plain rule {best:.1f}")
    goals.within(f"{world}: 80 % range holds", result.coverage(), 0.77 - slack, 0.88 + slack)
    goals.at_least(f"{world}: CRPS times better than the best plain rule", best / result.crps(), 1.5 - 4 * slack)
