"""What a component has run since new, over all its fitments: a hub moved to another trike keeps its kilometres.

An untraceable past makes a life unknown, not zero (aviation practice for life-limited parts, 14 CFR 43.10, EASA M.A.305).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from services.odometer import Timeline

MEAN_SPEED_KM_H = 18.7  # printed mean of Dutch e-bike riders; hours derived with it are labelled derived
MEAN_SPEED_SPREAD = 0.25  # standard deviation of the log of one rider's mean speed; assumption, no source


@dataclass(frozen=True)
class Span:
    """A fitment: from `start_day` to `end_day` (None: still there) on the trike of `timeline`."""

    start_day: float
    end_day: float | None
    timeline: Timeline
    km_per_day: float = 0.0


@dataclass(frozen=True)
class Life:
    """km run, days fitted, whether part of it is an estimate, whether its past is unknown."""

    km: float
    days_fitted: float
    is_estimate: bool = False
    is_unknown: bool = False


def accrue(start_km: np.ndarray, end_km: np.ndarray) -> np.ndarray:
    """Return the distance of each fitment, (n,) km from trike life at its start and end; never negative."""
    return np.maximum(np.asarray(end_km, dtype=float) - np.asarray(start_km, dtype=float), 0.0)


def life_of(spans: Sequence[Span], until_day: float, *, born_km: float = 0.0, unknown: bool = False) -> Life:
    """Return the life on `until_day`. `born_km` was run before the record begins; `unknown` when nobody can say."""
    km, days, estimate = born_km, 0.0, False
    for span in spans:
        end = until_day if span.end_day is None else min(span.end_day, until_day)
        if end <= span.start_day:
            continue
        at_start, at_end = span.timeline.life_at([span.start_day, end], span.km_per_day)
        km += float(accrue(at_start, at_end))
        days += end - span.start_day
        estimate = estimate or span.timeline.is_guessed_between(span.start_day, end)
    return Life(km, days, estimate, unknown)


def remaining_life(limit_km: float, life: Life) -> float | None:
    """Return what is left to a life limit (may be negative), or None when the life is unknown."""
    return None if life.is_unknown else limit_km - life.km


def derived_hours(km: float | None) -> float | None:
    """Return riding hours from km at the mean speed of 18.7 km/h; None stays None. Label them derived."""
    return None if km is None else km / MEAN_SPEED_KM_H


def derived_km(hours: float) -> float:
    """Return the km ridden in `hours` at the mean speed: undoes derived_hours."""
    return hours * MEAN_SPEED_KM_H
