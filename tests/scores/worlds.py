"""Worlds that nothing was tuned for: whether the range still keeps its word, and how much nearer than the best plain rule.

The numbers of the fleet are learned anew in each world; the code and its shipped values stay.
"""

from services.fleet_rates import SHIPPED
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
    _judge_small_fleets(goals, QUICK_MACHINES if quick else MACHINES, days, 1.15 if quick else 1.05)
    return goals.ended()


def _judge(goals: Goals, world: str, result: Scored, slack: float) -> None:
    best = min(result.crps(said) for said in result.rules.values())
    goals.say(f"{world}: CRPS {result.crps():.1f} days, best plain rule {best:.1f}")
    goals.within(f"{world}: 80 % range holds", result.coverage(), 0.77 - slack, 0.88 + slack)
    goals.at_least(f"{world}: CRPS times better than the best plain rule", best / result.crps(), 1.5 - 4 * slack)


def _judge_small_fleets(goals: Goals, machines: int, days: list[float], goal: float) -> None:
    """What a workshop with thirty trikes, or none yet, loses against one that learned from many."""
    fleet = simulate(SEED, machines)
    many = scored(fleet, SEED, days, learned(simulate(SEED + 1, machines), as_of_days()[0])).crps()
    few = [scored(fleet, SEED, days, learned(simulate(SEED + k, 30), as_of_days()[0])) for k in (2, 3, 4)]
    worst = max(result.crps() for result in few)
    goals.at_most("learned from 30 machines: CRPS against many, worst of 3", worst / many, goal, 3)
    shipped = scored(fleet, SEED, days, SHIPPED)
    goals.say(f"nothing learned yet: CRPS {shipped.crps() / many:.3f} times, 80 % range holds {shipped.coverage():.3f}")
