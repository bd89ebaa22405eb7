"""Season time: a day counts by the weight of its month, so that a slow January is not mistaken for a rider who stopped.

S(t) = integral of the month weights / 365.25, in season-years; the weights average 1 over the days of a mean year. Southern
machines read the weights six months shifted. Days are ordinals with a fraction (date.toordinal()), as in `day_of`.
"""

from collections.abc import Sequence
from datetime import date
from functools import lru_cache

import numpy as np

DAYS_A_YEAR = 365.25
MONTHS = 12
# The Gregorian calendar repeats every 400 years = 146,097 days.
_CYCLE_DAYS = 146_097
_CYCLE_START = date(2000, 1, 1).toordinal()
_MONTH_LENGTHS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_PSEUDO_YEARS_A_MONTH = 30.0 / MONTHS
_RATIO_CAP = 4.0
_NEIGHBOURS = 0.25
_ROUNDS = 40

Months = tuple[float, ...]


def normal_months(weights: Sequence[float] | np.ndarray) -> Months:
    """Return the twelve weights scaled so that a mean year of 365.25 days counts one season-year."""
    raw = np.asarray(weights, dtype=float)
    return tuple(float(w) for w in raw * DAYS_A_YEAR / (raw @ _MONTH_LENGTHS))


# January to December; a planning assumption that any northern shop would make (no source); learned from the fleet later.
SHIPPED_MONTHS = normal_months([0.35, 0.45, 0.8, 1.1, 1.4, 1.5, 1.5, 1.4, 1.2, 0.95, 0.6, 0.45])
FLAT_MONTHS = normal_months([1.0] * MONTHS)


def season_clock(months: Months, days: np.ndarray | float, southern: np.ndarray | bool = False) -> np.ndarray:
    """Return S(days) in season-years, exact by months; `southern` broadcasts with `days`. Zero on 1 January 2000."""
    cumulative, weights = _tables(months)
    whole = np.floor(np.asarray(days, dtype=float) - _CYCLE_START)
    fraction = np.asarray(days, dtype=float) - _CYCLE_START - whole
    cycles = np.floor(whole / _CYCLE_DAYS)
    place = (whole - cycles * _CYCLE_DAYS).astype(np.int64)
    half = np.asarray(southern).astype(np.int64)
    row = half * (_CYCLE_DAYS + 1) + place
    return cumulative[row] + fraction * weights[row] + cycles * cumulative[(half + 1) * (_CYCLE_DAYS + 1) - 1]


@lru_cache(maxsize=16)
def _tables(months: Months) -> tuple[np.ndarray, np.ndarray]:
    """S at the start of each day of the cycle and the weight of the day / 365.25; northern, then southern, end to end."""
    month = _month_of_day()
    rows = []
    for shift in (0, MONTHS // 2):
        daily = np.roll(np.asarray(months), shift)[month] / DAYS_A_YEAR
        rows.append((np.append(0.0, np.cumsum(daily)), np.append(daily, 0.0)))
    return np.concatenate([row[0] for row in rows]), np.concatenate([row[1] for row in rows])


@lru_cache(maxsize=1)
def _month_of_day() -> np.ndarray:
    days = np.datetime64("2000-01-01") + np.arange(_CYCLE_DAYS)
    return days.astype("datetime64[M]").astype(np.int64) % MONTHS


def years_by_month(starts: np.ndarray, ends: np.ndarray, southern: np.ndarray | bool = False) -> np.ndarray:
    """Return (n, 12): years that each stretch spends in each month of the northern profile (southern ones shifted)."""
    columns = []
    for month in range(MONTHS):
        only = tuple(float(month == other) for other in range(MONTHS))
        columns.append(season_clock(only, ends, southern) - season_clock(only, starts, southern))
    return np.stack(columns, axis=-1)


def learn_months(
    machine: np.ndarray, years: np.ndarray, km: np.ndarray, typical_km: float, prior: Months = SHIPPED_MONTHS
) -> Months:
    """Return the month weights that the fleet's stretches show, drawn to `prior` by thirty years of it.

    machine (n,) numbers from 0; years (n, 12) from `years_by_month`; km (n,) of each stretch; typical_km: a year of the
    fleet. Expectation and maximisation under a gamma prior; a stretch counts at most four times what was expected, so that
    tours stay out.
    """
    start = np.asarray(normal_months(prior))
    weights = start.copy()
    count = int(machine.max()) + 1 if len(machine) else 0
    total_km = np.bincount(machine, km, count)
    for _ in range(_ROUNDS if count else 0):
        exposure = np.maximum(years @ weights, 1e-9)
        rate = (0.1 * typical_km + total_km) / (0.1 + np.bincount(machine, exposure, count))
        ratio = np.minimum(km / (rate[machine] * exposure), _RATIO_CAP)
        told = (ratio @ years) * weights + _PSEUDO_YEARS_A_MONTH * start
        weights = np.asarray(normal_months(told / (years.sum(axis=0) + _PSEUDO_YEARS_A_MONTH)))
    if not count:
        return normal_months(start)
    around = (np.roll(weights, 1) + np.roll(weights, -1)) / 2
    return normal_months((1 - _NEIGHBOURS) * weights + _NEIGHBOURS * around)
