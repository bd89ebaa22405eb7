"""What share is still good at each age, without any assumption on how parts age: Kaplan-Meier, Nelson-Aalen.

At risk at age t is who was registered before t and seen until t or later (entry < t <= exit); at one and the same age failures
come before survivors leave. Kaplan & Meier 1958, JASA 53:457; Nelson 1972, Technometrics 14:945; Aalen 1978, Ann. Stat. 6:701;
variance Greenwood 1926; limits Kalbfleisch & Prentice 2002, ch. 1.4.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from services.life_data.at_risk import watched_at
from services.life_data.counts import z_of
from services.life_data.lives import Array, Lives, UnusableLives

Limits = Literal["plain", "log", "log-log"]
FEWEST_AT_RISK = 3  # below it a curve is drawn by one or two parts: stop it there


@dataclass(frozen=True)
class Steps:
    """A curve that steps at k ages of failure.

    age, at_risk, failed (k,); value (k,) the share still good or the cumulative hazard just after each age; standard_error,
    lower, upper (k,). emptied_at: an age at which everybody then at risk had failed although others come later (few were
    registered early): a Kaplan-Meier curve is 0 from there on and must not be drawn. None: no such age.
    drawn_until: last age with three or more at risk, 0 when none.
    """

    age: Array
    at_risk: Array
    failed: Array
    value: Array
    standard_error: Array
    lower: Array
    upper: Array
    emptied_at: float | None
    drawn_until: float


def kaplan_meier(lives: Lives, *, confidence: float = 0.95, limits: Limits = "log-log") -> Steps:
    """Return the share still good after each age of failure, with pointwise two-sided limits.

    limits: log-log (stays within 0 and 1, best with few failures), log, or plain Greenwood cut off at 0 and 1. Where the
    curve is 0 the standard error is unknown: NaN, lower limit 0, upper limit as before. Raises UnusableLives for failures
    between two looks: those need an estimate for intervals (Turnbull 1976).
    """
    age, at_risk, failed = _counted(lives)
    gone = failed >= at_risk
    survival = np.cumprod(1.0 - failed / at_risk)
    survival[np.maximum.accumulate(gone)] = 0.0
    with np.errstate(divide="ignore"):
        spread = np.sqrt(np.cumsum(failed / (at_risk * np.where(gone, 0.0, at_risk - failed))))
    lower, upper = _survival_limits(survival, spread, z_of(confidence), limits)
    with np.errstate(invalid="ignore"):
        error = survival * spread
    return Steps(age, at_risk, failed, survival, error, lower, upper, _emptied(lives, age, gone), _drawn(age, at_risk))


def nelson_aalen(lives: Lives, *, confidence: float = 0.95) -> Steps:
    """Return the cumulative hazard (expected failures of a position renewed each time) after each age of failure.

    Increments d/n, variance the sum of d/n^2; limits H exp(+-z SE/H), which stay above 0 (exponential limits). Raises
    UnusableLives for failures between two looks.
    """
    age, at_risk, failed = _counted(lives)
    hazard = np.cumsum(failed / at_risk)
    error = np.sqrt(np.cumsum(failed / at_risk**2))
    factor = np.exp(z_of(confidence) * error / hazard)
    emptied = _emptied(lives, age, failed >= at_risk)
    return Steps(age, at_risk, failed, hazard, error, hazard / factor, hazard * factor, emptied, _drawn(age, at_risk))


def at_ages(steps: Steps, ages: ArrayLike, before: float) -> Array:
    """Return the curve's value (m,) at ages (m,); `before` the first failure it is 1 for survival, 0 for the hazard."""
    return np.concatenate([[before], steps.value])[np.searchsorted(steps.age, np.asarray(ages, float), side="right")]


def at_risk_at(lives: Lives, ages: ArrayLike) -> Array:
    """Return how many parts were under watch just before ages (m,): what stands below a curve."""
    return watched_at(lives.entry, lives.seen_until, lives.count, np.asarray(ages, float))


def _counted(lives: Lives) -> tuple[Array, Array, Array]:
    """Ages of failure (k,) ascending, at risk (k,), failed (k,)."""
    if lives.between.any():
        raise UnusableLives(
            "Some parts failed between two looks: their age at failure is not known.", field="last_good"
        )
    exact = lives.exact
    age, where = np.unique(lives.lower[exact], return_inverse=True)
    return age, at_risk_at(lives, age), np.bincount(where, lives.count[exact], len(age))


def _survival_limits(survival: Array, spread: Array, z: float, limits: Limits) -> tuple[Array, Array]:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if limits == "plain":
            low, high = survival * (1 - z * spread), survival * (1 + z * spread)
        elif limits == "log":
            low, high = survival * np.exp(-z * spread), survival * np.exp(z * spread)
        else:
            power = np.exp(z * spread / np.abs(np.log(survival)))
            low, high = survival**power, survival ** (1 / power)
    at_zero = survival == 0
    before = np.minimum.accumulate(np.where(at_zero, 1.0, high))
    return np.where(at_zero, 0.0, np.clip(low, 0.0, 1.0)), np.where(at_zero, before, np.clip(high, 0.0, 1.0))


def _emptied(lives: Lives, age: Array, gone: Array) -> float | None:
    """The first age at which all at risk failed while other lives reach beyond it."""
    early = age[gone & (age < lives.seen_until.max(initial=0.0))]
    return float(early[0]) if len(early) else None


def _drawn(age: Array, at_risk: Array) -> float:
    return float(age[at_risk >= FEWEST_AT_RISK].max(initial=0.0))
