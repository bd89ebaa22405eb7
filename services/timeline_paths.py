"""Which readings to believe, and the life distance they tell: one machine or a whole fleet, always from all its readings.

Each reading is right, a slip of the unit, or fits nothing; between two of them the display may have begun anew. Two passes:
the fleet's rate first, then the machine's own. Any late or corrected reading is labelled with all others, so that the result
does not depend on the order in which they came. Source: the method's prototype (forecast notes).
"""

from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.timeline_costs import OK, OUTLIER, Nodes, edges_between
from services.timeline_rows import Machines, Readings, Swaps, days_in_life, nodes_of, rows_of
from services.timeline_search import Chances, Path, chances, likeliest_path

_OWN_WEIGHT_YEARS = 0.3
_LEAST_SPREAD = 0.15
_CHUNK = 300_000


@dataclass(frozen=True)
class Labels:
    """For each of m readings in the caller's order; nan and OUTLIER with p_wrong 1 where a hard rule or a person bars it.

    label: of timeline_costs.LABELS; p_wrong: chance that it is not right as typed; p_reset: chance that the display began
    anew since the reading before; reset: the path says so; life_km: life when it was read (nan for outliers); estimated: life
    rests on a guess made at this reading; bridged: km guessed for displays that ended unread since the reading before.
    rate, spread (n,): each machine's own log km a season-year, and its variance, as the second pass used them.
    """

    label: np.ndarray
    p_wrong: np.ndarray
    p_reset: np.ndarray
    reset: np.ndarray
    life_km: np.ndarray
    estimated: np.ndarray
    bridged: np.ndarray
    rate: np.ndarray
    spread: np.ndarray


def label_fleet(
    readings: Readings, swaps: Swaps, machines: Machines, fleet: FleetRates, now_day: float = np.inf
) -> Labels:
    """Label every reading of every machine. `now_day`: readings dated later than a day after it are set aside."""
    rows = rows_of(readings, swaps, machines, fleet, now_day)
    total = len(readings.day)
    label, life = np.full(total, OUTLIER), np.full(total, np.nan)
    p_wrong, p_reset, bridged = np.ones(total), np.zeros(total), np.zeros(total)
    reset, estimated = np.zeros(total, dtype=bool), np.zeros(total, dtype=bool)
    rate, spread = np.full(len(rows.count), fleet.mu), np.full(len(rows.count), fleet.tau2)
    for who in _groups(rows.count):
        nodes = nodes_of(rows, who, machines, fleet)
        path, found, walked, rate[who], spread[who] = _judge(nodes, fleet)
        count = len(nodes.day) - 1
        to = rows.source[rows.first[who][None, :] + np.arange(count)[:, None]]
        label[to], reset[to] = path.label[1:], path.reset[1:]
        p_wrong[to], p_reset[to] = 1.0 - found.labels[OK], found.reset
        life[to], estimated[to], bridged[to] = walked.life[1:], walked.guessed[1:], walked.bridged[1:]
    return Labels(label, p_wrong, p_reset, reset, life, estimated, bridged, rate, spread)


def life_points(readings: Readings, machines: Machines, labels: Labels) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (machine, day, life km) of every delivery and believed reading, sorted by machine and day, for rates_of."""
    believed = np.flatnonzero(labels.label != OUTLIER)
    who = np.append(np.arange(len(machines.zero_day)), readings.machine[believed])
    day = np.append(machines.zero_day, days_in_life(readings, machines)[believed])
    life = np.append(np.zeros(len(machines.zero_day)), labels.life_km[believed])
    order = np.lexsort((life, day, who))
    return who[order], day[order], life[order]


def _groups(count: np.ndarray) -> list[np.ndarray]:
    """Machines with equally many readings, in portions that fit the processor's cache."""
    groups = []
    for number in np.unique(count[count > 0]):
        who = np.flatnonzero(count == number)
        parts = -(-len(who) * int(number) * 35 // _CHUNK)
        groups.extend(np.array_split(who, parts))
    return groups


def _judge(nodes: Nodes, fleet: FleetRates) -> tuple[Path, Chances, "Walk", np.ndarray, np.ndarray]:
    """(path, chances, life along it, rate, spread): the labels at the fleet's rate give the rate that labels anew."""
    machines = nodes.day.shape[1]
    rate, spread = np.full(machines, fleet.mu), np.full(machines, fleet.tau2)
    path = likeliest_path(edges_between(nodes, rate, spread, fleet))
    rate, spread = _own_rate(nodes, walk(nodes, path, rate), path, fleet)
    edges = edges_between(nodes, rate, spread, fleet)
    path = likeliest_path(edges)
    return path, chances(edges), walk(nodes, path, rate), rate, spread


def _own_rate(nodes: Nodes, walked: "Walk", path: Path, fleet: FleetRates) -> tuple[np.ndarray, np.ndarray]:
    """The machine's plain ratio of km to season-years, drawn to the fleet's by 0.3 season-years of it."""
    km = np.nanmax(walked.life, axis=0)
    years = np.where(path.label != OUTLIER, nodes.clock, -np.inf).max(axis=0) - nodes.clock[0]
    rate = np.log((_OWN_WEIGHT_YEARS * np.exp(fleet.mu) + km) / (_OWN_WEIGHT_YEARS + years))
    return rate, np.maximum(fleet.tau2 * _OWN_WEIGHT_YEARS / (_OWN_WEIGHT_YEARS + years), _LEAST_SPREAD)


@dataclass(frozen=True)
class Walk:
    """life (N + 1, M), nan at outliers; guessed: life rests on a guess there; bridged: km guessed up to an unread swap."""

    life: np.ndarray
    guessed: np.ndarray
    bridged: np.ndarray


def walk(nodes: Nodes, path: Path, rate: np.ndarray) -> Walk:
    """Return life along the path: distances of each display summed, never falling; rate (M,) bridges what nobody read."""
    stops = path.label != OUTLIER
    column = np.arange(nodes.day.shape[1])[None, :]
    label = np.where(stops, path.label, 0)
    row = np.arange(len(nodes.day))[:, None]
    here = nodes.values[label, row, column]
    before = here[path.before, column]
    season_before = nodes.clock[path.before, column]
    crossed = stops & (nodes.run != nodes.run[path.before, column])
    pace = np.exp(rate)
    bridged = np.where(crossed, pace * np.maximum(nodes.run_clock - season_before, 0.0), 0.0)
    step = np.where(crossed, bridged + np.maximum(here - nodes.run_start, 0.0), here - before)
    guessed = path.reset & stops
    fresh = np.maximum(nodes.counted[label, row, column], pace * (nodes.clock - season_before))
    step = np.where(guessed, fresh, step)
    step = np.where(stops, step, 0.0)
    step[0] = 0.0
    life = np.maximum.accumulate(np.cumsum(step, axis=0), axis=0)
    return Walk(np.where(stops, life, np.nan), guessed, bridged)
