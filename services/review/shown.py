"""Kept findings made ready to be drawn and said: curves at ages, chances in plain words. Formulas only, nothing is fitted."""

import math
from dataclasses import dataclass

import numpy as np

from services.life_data import replacement_age
from services.life_data.ladder import say_number
from services.review.found import LifeFound, Rate

POINTS = 60  # of a drawn curve
SMALLEST = 1e-4  # chances below it are only said to be below it


@dataclass(frozen=True)
class Costs:
    """Cost of replacing at each age beside running to failure: (age, share); the best age, what costs about the same, saving."""

    points: list[tuple[float, float]]
    best: float
    flat: tuple[float, float]
    saving: float


def per(metric: str) -> int:
    """Return how many units a rate is told for: 10,000 km, 1,000 of anything else."""
    return 10_000 if metric == "km" else 1_000


def say_rate(rate: float, metric: str) -> str:
    """Return a rate per unit as people compare it: failures per 10,000 km, per 1,000 days, hours or cycles."""
    return say_number(rate * per(metric))


def say_range(rate: Rate, metric: str) -> str:
    """Return the limits of a rate in words; without a failure only the upper one is known."""
    if rate.low is None:
        return f"at most {say_rate(rate.high, metric)}"
    return f"{say_rate(rate.low, metric)} to {say_rate(rate.high, metric)}"


def say_chance(q: float | None) -> str:
    """Return a share of false findings as '1 in 12': how often a finding this strong is chance after all."""
    if q is None:
        return "not tested"
    if q < SMALLEST:
        return f"fewer than 1 in {1 / SMALLEST:,.0f}"
    if q > 0.5:
        return "chance would do that"
    return f"1 in {say_number(1 / q)}" if q < 0.1 else f"1 in {max(round(1 / q), 2)}"


def say_times(ratio: float | None, low: float, high: float | None) -> str:
    """Return how many times the rate of the rest, with limits; None: nothing but these failed, nothing bounds it above."""
    if ratio == 0:
        return f"none failed (at most {say_number(high)} times)" if high is not None else "none failed"
    reach = f"{say_number(low)} to {say_number(high)}" if high is not None else f"at least {say_number(low)}"
    return f"{say_number(ratio)} times ({reach})" if ratio is not None else f"only these ({reach} times)"


def fitted_curve(life: LifeFound, until: float) -> list[tuple[float, float]]:
    """Return (age, share still good) of the fitted life up to an age; nothing where no life was fitted."""
    if life.shape is None or life.life is None or until <= 0:
        return []
    ages = np.linspace(0.0, until, POINTS)
    return list(zip(ages.tolist(), np.exp(-((ages / life.life) ** life.shape)).tolist(), strict=True))


def paper_limits(life: LifeFound) -> list[tuple[float, float, float]]:
    """Return (share failed, earliest, latest age) where the limits of the fitted life were reckoned: B10, B50, 63.2 %."""
    shares = (0.10, 0.50, -math.expm1(-1.0))
    ends = ((life.b10_low, life.b10_high), (life.b50_low, life.b50_high), (life.life_low, life.life_high))
    return [(share, low, high) for share, (low, high) in zip(shares, ends, strict=True) if low and high]


def costs_of(life: LifeFound, planned: float, failure: float) -> Costs | None:
    """Return what replacing by age costs beside running to failure; None where no age is best or nothing was fitted."""
    if life.shape is None or life.life is None or life.shape_low is None or life.shape_low <= 1.0:
        return None
    best = replacement_age.optimum(life.shape, life.life, planned, failure, draws=100)
    if not math.isfinite(best.age):
        return None
    ages = best.age * np.linspace(0.15, 2.6, POINTS)
    shares = replacement_age.cost_at(ages, life.shape, life.life, planned, failure) / best.cost_of_running
    points = list(zip(ages.tolist(), shares.tolist(), strict=True))
    return Costs(points, best.age, (best.flat_from, best.flat_until), best.saving)
