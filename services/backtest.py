"""Looking back: of the dates that would have been named so many days ahead, how many came inside their range.

At every past reading the state known then names the day of the distance expected so many days on, with its 80 % range; later
readings tell when that distance was reached (between two readings by a straight line). What they cannot tell yet is counted
apart, never left out silently.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.forecast import HORIZON_DAYS, date_of, distance_on
from services.rates import RateState, fold, point_runs, start_rate

AHEAD = (30, 90, 180)
KNOWN = ((0, 0), (1, 2), (3, 7), (8, 10_000))  # stretches folded in before
_Z95 = 1.959964  # normal quantile of .975


@dataclass(frozen=True)
class Looked:
    """named: dates named; inside, early, late: came inside the 80 % range, before, after; unknown: cannot be told yet;

    error_days: median distance of the named day from the day it came, over those whose day is known.
    """

    named: int = 0
    inside: int = 0
    early: int = 0
    late: int = 0
    unknown: int = 0
    error_days: float | None = None

    @property
    def told(self) -> int:
        """How many are known to have come inside or not."""
        return self.inside + self.early + self.late

    @property
    def share(self) -> float | None:
        """Share inside the range; None where none is known."""
        return self.inside / self.told if self.told else None

    def limits(self) -> tuple[float, float] | None:
        """Return the 95 % limits of the share (Wilson's score interval; dates of one trike hang together, so it is wider)."""
        if not self.told:
            return None
        n, p, z2 = self.told, self.inside / self.told, _Z95**2
        middle = (p + z2 / (2 * n)) / (1 + z2 / n)
        half = _Z95 / (1 + z2 / n) * np.sqrt(p * (1 - p) / n + z2 / (4 * n * n))
        return float(max(middle - half, 0.0)), float(min(middle + half, 1.0))


@dataclass(frozen=True)
class _Named:
    """One row per date named: the range, the median, when it came (inf: not yet), the last day anything is known of."""

    stretches: np.ndarray
    low: np.ndarray
    middle: np.ndarray
    high: np.ndarray
    came: np.ndarray
    seen: np.ndarray


def look_back(
    machine: np.ndarray, days: np.ndarray, life_km: np.ndarray, *, southern: np.ndarray | bool, fleet: FleetRates,
    since_day: float = 0.0, ahead: Sequence[int] = AHEAD,
) -> dict[int, dict[str, Looked]]:  # fmt: skip
    """Return days ahead -> class -> what came of it; class 'all' and one per number of stretches known ('0', '1-2', ...).

    machine (k,), days (k,), life_km (k,): life points sorted by machine and day, the first of each its delivery; southern
    by machine. Only dates named on `since_day` or later count.
    """
    answer = {}
    for many in ahead:
        parts = list(_named(machine, days, life_km, southern, fleet, since_day, many))
        row = _Named(
            *(np.concatenate([getattr(p, name) for p in parts] or [np.empty(0)]) for name in _Named.__annotations__)
        )
        answer[many] = {"all": _looked(row, np.ones(len(row.low), dtype=bool))}
        for least, most in KNOWN:
            name = f"{least}" if least == most else f"{least}-{most}" if most < 10_000 else f"{least}+"
            answer[many][name] = _looked(row, (row.stretches >= least) & (row.stretches <= most))
    return answer


def _named(
    machine: np.ndarray, days: np.ndarray, life_km: np.ndarray, southern: np.ndarray | bool, fleet: FleetRates,
    since_day: float, ahead: int,
) -> Iterator[_Named]:  # fmt: skip
    """Rank by rank: every machine's state after its first points, and what its later points say."""
    first, count = point_runs(machine)
    south = np.broadcast_to(np.asarray(southern), count.shape)
    state = start_rate(days[first], life_km[first], southern=south, fleet=fleet)
    for rank in range(int(count.max(initial=1)) - 1):
        if rank:
            has = np.minimum(first + rank, first + count - 1)
            state = fold(state, days[has], life_km[has], fleet=fleet)
        asked = np.flatnonzero((count > rank + 1) & (days[np.minimum(first + rank, len(days) - 1)] >= since_day))
        if len(asked):
            yield _name(state.take(asked), asked, rank, first, count, days, life_km, fleet, ahead)


def _name(
    state: RateState, asked: np.ndarray, rank: int, first: np.ndarray, count: np.ndarray, days: np.ndarray,
    life_km: np.ndarray, fleet: FleetRates, ahead: int,
) -> _Named:  # fmt: skip
    target = distance_on(state, np.asarray(state.last_day) + ahead, (0.5,), fleet)[..., 0]
    named = date_of(state, target, (0.1, 0.5, 0.9), np.asarray(state.last_day) + HORIZON_DAYS, fleet)
    came, seen = np.full(len(asked), np.inf), np.empty(len(asked))
    for place, number in enumerate(asked):
        rows = slice(first[number] + rank, first[number] + count[number])
        seen[place] = days[rows][-1]
        if life_km[rows][-1] >= target[place]:
            came[place] = _first_reached(days[rows], life_km[rows], target[place])
    return _Named(np.asarray(state.stretches), named[:, 0], named[:, 1], named[:, 2], came, seen)


def _first_reached(days: np.ndarray, life_km: np.ndarray, target: float) -> float:
    after = int(np.searchsorted(life_km, target, side="left"))
    low, high = life_km[after - 1], life_km[after]
    share = (target - low) / (high - low)
    return float(days[after - 1] + share * (days[after] - days[after - 1]))


def _looked(row: _Named, chosen: np.ndarray) -> Looked:
    low, high, came, seen = (getattr(row, name)[chosen] for name in ("low", "high", "came", "seen"))
    known = np.isfinite(came)
    early = known & (came < low - 0.5)
    late = (known & (came > high + 0.5)) | (~known & (seen > high + 0.5))
    inside = known & ~early & ~late
    error = np.abs(row.middle[chosen] - came)[known & np.isfinite(row.middle[chosen])]
    told = int(inside.sum() + early.sum() + late.sum())
    return Looked(
        len(low), int(inside.sum()), int(early.sum()), int(late.sum()), len(low) - told,
        float(np.median(error)) if len(error) else None,
    )  # fmt: skip
