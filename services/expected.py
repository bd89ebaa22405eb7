"""The distance expected after the last reading, as likely more as less: it bends where the month weights change."""

from dataclasses import replace

import numpy as np

from services.fleet_rates import FleetRates
from services.odometer import Timeline
from services.rates import RateState
from services.season import season_clock

MONTHS_AHEAD = 48
_DAY_ONE = np.datetime64("0001-01-01")


def expected_lines(state: RateState, fleet: FleetRates, months: int = MONTHS_AHEAD) -> tuple[np.ndarray, np.ndarray]:
    """Return (days, life km), each (n, months + 1): the last reading, then the first of each month after it.

    Between them the distance is a straight line, since the season clock is.
    """
    last = np.atleast_1d(np.asarray(state.last_day, dtype=float))
    month = (_DAY_ONE + (np.floor(last).astype(np.int64) - 1)).astype("datetime64[M]")
    starts = month[:, None] + np.arange(1, months + 1)
    ordinals = (starts.astype("datetime64[D]") - _DAY_ONE).astype(np.int64) + 1.0
    days = np.concatenate([last[:, None], ordinals], axis=1)
    southern = np.broadcast_to(np.asarray(state.southern), last.shape)[:, None]
    clock = season_clock(fleet.months, days, southern)
    ridden = np.exp(np.atleast_1d(state.m))[:, None] * (clock - clock[:, :1])
    return days, np.atleast_1d(np.asarray(state.last_km, dtype=float))[:, None] + ridden


def with_expected(timeline: Timeline, days: np.ndarray, life_km: np.ndarray) -> Timeline:
    """Return the timeline with what is expected after its last point, (k,) days and life km."""
    return replace(timeline, ahead_days=days, ahead_km=life_km)
