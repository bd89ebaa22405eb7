"""Life data: how fast the Weibull fit is beside the libraries, and how often 90 % limits hold the truth.

The libraries of tests/references/requirements.txt are timed where they are installed; without them only our own times are shown.
"""

import importlib.util
import os
import time
import warnings
from collections.abc import Callable

import numpy as np

from services.life_data.lives import observed
from services.life_data.recurrence import histories, mean_repairs
from services.life_data.weibull import NoFiniteFit, Weibull, fit
from services.life_data.weibull_limits import Quantity, Range, fisher_limits, likelihood_limits
from tests.scores.goals import Goals

SIZES = (1_000, 100_000)
MACHINES = 100_000
TIMES_FASTER = 20.0
SEED = 266
SHAPE = 2.0
FEWEST, FLEETS, QUICK_FLEETS = 10, 3000, 400
Fleet = tuple[np.ndarray, np.ndarray]


def main(options: list[str]) -> int:
    """Time fits of 1,000 and 100,000 lives and repairs of 100,000 machines; simulate fleets of 60 to 200 parts.

    --quick: fewer fleets, wider goals.
    """
    quick = "--quick" in options
    goals = Goals("life: Weibull fits with survivors, one process, best of several runs")
    for n in SIZES:
        _speed(goals, n)
    _repairs_speed(goals)
    _coverage(goals, QUICK_FLEETS if quick else FLEETS, slack=0.03 if quick else 0.0)
    return goals.ended()


def _fleet(rng: np.random.Generator, n: int, oldest: float) -> Fleet:
    """(ages, whether failed) of n parts of life 1, put into service evenly until `oldest` ago."""
    life, end = rng.weibull(SHAPE, n), oldest * rng.random(n)
    return np.minimum(life, end), life <= end


def _speed(goals: Goals, n: int) -> None:
    age, failed = _fleet(np.random.default_rng(SEED), n, 1.2)
    age = 1000 * age
    ours = _best(lambda: fit(observed(age, failed)), 30)
    goals.say(f"{n:>9,} lives, ours: {1000 * ours:.2f} ms")
    others = {name: _best(lambda run=run: run(age, failed), 3) for name, run in _libraries().items()}
    if not others:
        goals.say("          no library to compare with: pip install -r tests/references/requirements.txt")
        return
    for name, seconds in others.items():
        goals.say(f"{'':>9} {name}: {1000 * seconds:.1f} ms, {seconds / ours:.0f} times ours")
    goals.at_least(f"times faster than the fastest library, {n:,} lives", min(others.values()) / ours, TIMES_FASTER, 0)


def _repairs_speed(goals: Goals) -> None:
    """Mean repairs with their variance between machines, each watched over a window of its own."""
    rng = np.random.default_rng(SEED)
    start = np.where(rng.random(MACHINES) < 0.4, rng.uniform(0, 300, MACHINES), 0.0)
    end = start + rng.uniform(200.0, 1500.0, MACHINES)
    machine = np.repeat(np.arange(MACHINES), rng.poisson(1.5, MACHINES))
    age = start[machine] + rng.uniform(0.02, 1.0, len(machine)) * (end - start)[machine]
    seen = histories(end, machine, age, start)
    ours = _best(lambda: mean_repairs(seen), 5)
    goals.say(f"mean repairs of {MACHINES:,} machines, {len(age):,} repairs, ours: {1000 * ours:.0f} ms")
    if importlib.util.find_spec("surpyval"):
        item = np.concatenate([machine, np.arange(MACHINES)])
        rows = {"x": np.concatenate([age, end]), "i": item, "tl": start[item],
                "c": np.concatenate([np.zeros(len(age), int), np.ones(MACHINES, int)])}  # fmt: skip
        theirs = _best(lambda: _surpyval_repairs(rows), 1)
        goals.say(f"{'':>9} surpyval: {1000 * theirs:.0f} ms, {theirs / ours:.0f} times ours")
        goals.at_least(f"times faster than the library, {MACHINES:,} machines", theirs / ours, 1.0, 0)


def _surpyval_repairs(rows: dict[str, np.ndarray]) -> object:
    import surpyval

    return surpyval.NonParametricCounting.fit(**rows)


def _libraries() -> dict[str, Callable[[np.ndarray, np.ndarray], object]]:
    """The installed ones, each as it is called by its own documentation."""
    runs = {"lifelines": _lifelines, "surpyval": _surpyval, "reliability": _reliability}
    return {name: run for name, run in runs.items() if importlib.util.find_spec(name)}


def _lifelines(age: np.ndarray, failed: np.ndarray) -> object:
    from lifelines import WeibullFitter

    return WeibullFitter().fit(age, failed)


def _surpyval(age: np.ndarray, failed: np.ndarray) -> object:
    import surpyval

    return surpyval.Weibull.fit(age, c=(~failed).astype(int))


def _reliability(age: np.ndarray, failed: np.ndarray) -> object:
    os.environ.setdefault("MPLBACKEND", "Agg")
    from reliability.Fitters import Fit_Weibull_2P

    return Fit_Weibull_2P(age[failed], age[~failed], show_probability_plot=False, print_results=False)


def _best(work: Callable[[], object], times: int) -> float:
    """Seconds of the fastest run after one that imports and warms up.

    Of this thread alone: neighbours do not count, nor what libraries do in other threads, which is in their favour.
    """
    seconds = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        work()
        for _ in range(times):
            begun = time.thread_time()
            work()
            seconds.append(time.thread_time() - begun)
    return min(seconds)


def _coverage(goals: Goals, fleets: int, slack: float) -> None:
    """Share of fleets whose 90 % limits hold the truth, given 10 or more failures; Fisher limits only shown."""
    for parts, oldest in ((60, 0.9), (200, 0.6), (200, 1.2)):
        rng = np.random.default_rng([SEED, parts, int(10 * oldest)])
        found = [fitted for fitted in (_fitted(rng, parts, oldest) for _ in range(fleets)) if fitted]
        failures = np.mean([fitted.failures for fitted in found])
        goals.say(f"{len(found)} fleets of {parts} parts, {failures:.0f} failures each in the mean")
        for name, quantity, truth in _truths():
            held = _held(found, likelihood_limits, quantity, truth)
            goals.within(f"... likelihood limits hold the {name}", held, 0.87 - slack, 0.93 + slack)
            goals.say(f"    Fisher limits: {_held(found, fisher_limits, quantity, truth):.3f}")


def _truths() -> list[tuple[str, Quantity, float]]:
    return [("shape", "shape", SHAPE), ("life", "life", 1.0), ("B10", 0.1, float((-np.log(0.9)) ** (1 / SHAPE)))]


def _fitted(rng: np.random.Generator, parts: int, oldest: float) -> Weibull | None:
    """A fit, or None with too few failures to speak of limits."""
    age, failed = _fleet(rng, parts, oldest)
    try:
        return fit(observed(age, failed)) if failed.sum() >= FEWEST else None
    except NoFiniteFit:
        return None


def _held(
    found: list[Weibull], limits: Callable[..., Range], quantity: Quantity, truth: float, confidence: float = 0.90
) -> float:
    inside = [low <= truth <= high for low, high in (limits(one, quantity, confidence=confidence) for one in found)]
    return float(np.mean(inside))
