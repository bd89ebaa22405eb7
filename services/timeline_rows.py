"""Readings as they were typed -> rows in time order, with what announced display swaps add. No judgment yet: hard rules only."""

from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.season import season_clock
from services.timeline_costs import OUTLIER, SCALES, Nodes

LARGEST_KM = 300_000.0  # beyond any trike's life; own rule
DAYS_BEFORE_DELIVERY = 30.0
DAYS_AHEAD = 1.0
UNDECIDED = -1  # where a person decided nothing yet; else a label of timeline_costs, OUTLIER for rejected


@dataclass(frozen=True)
class Readings:
    """m readings in any order. machine (m,) 0 ... n - 1; day, km as typed (m,); owner (m,) bool; decided (m,) label or -1."""

    machine: np.ndarray
    day: np.ndarray
    km: np.ndarray
    owner: np.ndarray
    decided: np.ndarray


@dataclass(frozen=True)
class Swaps:
    """k announced swaps in any order: machine, day, what the old display showed last (nan: unknown), where the new began."""

    machine: np.ndarray
    day: np.ndarray
    old_final: np.ndarray
    new_start: np.ndarray


@dataclass(frozen=True)
class Machines:
    """n machines: the day of delivery, what the display showed then, whether they live in the south."""

    zero_day: np.ndarray
    zero_km: np.ndarray
    southern: np.ndarray


@dataclass(frozen=True)
class Rows:
    """The usable readings sorted by machine and time. source (r,): the caller's row; first, count (n,): rows by machine."""

    source: np.ndarray
    first: np.ndarray
    count: np.ndarray
    machine: np.ndarray
    day: np.ndarray
    clock: np.ndarray
    km: np.ndarray
    owner: np.ndarray
    decided: np.ndarray
    offset: np.ndarray
    run: np.ndarray
    run_day: np.ndarray
    run_clock: np.ndarray
    run_start: np.ndarray


def usable(readings: Readings, machines: Machines, now_day: float) -> np.ndarray:
    """Return which readings may be used at all: (m,) bool. The others are kept aside and asked about."""
    km, day = readings.km, readings.day
    value = (km >= 0) & (km <= LARGEST_KM)
    dated = (day <= now_day + DAYS_AHEAD) & (day >= machines.zero_day[readings.machine] - DAYS_BEFORE_DELIVERY)
    return value & dated & (readings.decided != OUTLIER)


def days_in_life(readings: Readings, machines: Machines) -> np.ndarray:
    """Return the day of each reading (m,): what is dated before the delivery counts as of the delivery."""
    return np.maximum(readings.day, machines.zero_day[readings.machine])


def rows_of(readings: Readings, swaps: Swaps, machines: Machines, fleet: FleetRates, now_day: float = np.inf) -> Rows:
    """Return the usable rows. The same readings in another order give the same rows."""
    kept = np.flatnonzero(usable(readings, machines, now_day))
    who = readings.machine[kept]
    day = days_in_life(readings, machines)[kept]
    order = np.lexsort((readings.decided[kept], readings.owner[kept], readings.km[kept], day, who))
    source, who, day = kept[order], who[order], day[order]
    first = np.searchsorted(who, np.arange(len(machines.zero_day)))
    count = np.bincount(who, minlength=len(machines.zero_day))
    shows = _displays(who, day, swaps, machines)
    southern = machines.southern[who]
    return Rows(
        source, first, count, who, day, season_clock(fleet.months, day, southern), readings.km[source],
        readings.owner[source], readings.decided[source], shows.offset, shows.run, shows.run_day,
        season_clock(fleet.months, shows.run_day, southern), shows.run_start,
    )  # fmt: skip


@dataclass(frozen=True)
class Displays:
    """Which display each of m readings was taken from; every array (m,).

    offset: km that the display is behind the first one, by announced swaps; run: how many displays ended unread before it;
    run_day, run_start: when the display after the last of those began, and at what count (km with its offset).
    """

    offset: np.ndarray
    run: np.ndarray
    run_day: np.ndarray
    run_start: np.ndarray


def displays_of(readings: Readings, swaps: Swaps, machines: Machines) -> Displays:
    """Return which display each reading (m,) was taken from, in the caller's order."""
    return _displays(readings.machine, days_in_life(readings, machines), swaps, machines)


def _displays(who: np.ndarray, day: np.ndarray, swaps: Swaps, machines: Machines) -> Displays:
    """A reading on the day of a swap is of the new display."""
    order = swap_order(swaps, machines)
    machine, when, old, new = (column[order] for column in (swaps.machine, swaps.day, swaps.old_final, swaps.new_start))
    unknown = np.isnan(old)
    added = np.append(0.0, np.cumsum(np.where(unknown, 0.0, old - new)))
    runs = np.append(0, np.cumsum(unknown))
    before = np.searchsorted(machine, np.arange(len(machines.zero_day)))[who]  # swaps of the machines before it
    last = _last_before(machine, when, who, day)  # swaps of all machines up to each row
    run = runs[last] - runs[before]
    begun = np.maximum.accumulate(np.append(0, np.where(unknown, np.arange(1, len(order) + 1), 0)))[last]
    start = np.append(0.0, new)[begun] + added[begun] - added[before]
    return Displays(
        added[last] - added[before], run, np.where(run > 0, np.append(0.0, when)[begun], machines.zero_day[who]),
        np.where(run > 0, start, 0.0),
    )  # fmt: skip


def swap_order(swaps: Swaps, machines: Machines) -> np.ndarray:
    """Return the swaps that count, by machine and time: those up to the delivery are part of where it began."""
    order = np.lexsort((swaps.old_final, swaps.new_start, swaps.day, swaps.machine))
    return order[(swaps.day > machines.zero_day[swaps.machine])[order]]


def _last_before(machine: np.ndarray, when: np.ndarray, who: np.ndarray, day: np.ndarray) -> np.ndarray:
    """For each row how many swaps stand before it, in the order of machine and day."""
    both = np.lexsort((
        np.append(np.zeros(len(when)), np.ones(len(day))), np.append(when, day), np.append(machine, who),
    ))  # fmt: skip
    is_swap = both < len(when)
    stands = np.empty(len(both), dtype=np.int64)
    stands[both] = np.cumsum(is_swap)
    return stands[len(when) :]


def nodes_of(rows: Rows, who: np.ndarray, machines: Machines, fleet: FleetRates) -> Nodes:
    """Return the rows of machines with equally many readings, as (N + 1, M): row 0 is the delivery."""
    count = int(rows.count[who[0]])
    at = rows.first[who][None, :] + np.arange(count)[:, None]
    zero_day, zero_km = machines.zero_day[who].astype(float), machines.zero_km[who].astype(float)
    clock = season_clock(fleet.months, zero_day, machines.southern[who])

    def column(of_delivery: np.ndarray | float, of_rows: np.ndarray) -> np.ndarray:
        return np.concatenate([np.broadcast_to(of_delivery, (1, len(who))), of_rows[at]])

    shown, offset = column(zero_km, rows.km), column(0.0, rows.offset)
    counted = shown * SCALES[:, None, None]
    return Nodes(
        day=column(zero_day, rows.day), clock=column(clock, rows.clock), shown=shown, values=counted + offset,
        counted=counted, owner=column(False, rows.owner), fixed=column(-1, rows.decided), run=column(0, rows.run),
        run_day=column(zero_day, rows.run_day), run_clock=column(clock, rows.run_clock),
        run_start=column(0.0, rows.run_start),
    )  # fmt: skip
