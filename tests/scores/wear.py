"""When worn parts meet their limit, told after 1, 2, 3 measurements: `python -m tests.scores wear`.

Error: |told middle - true crossing| / true crossing, its median over parts not yet past the limit. Goals: within 10 % of a
prototype's figures on simulators of the same description, and within 20 % of them where the fleet was fitted to 30 parts.
Fleets for fitting come from other seeds than the parts that are scored. Plain rules stand beside.
"""

from dataclasses import dataclass, replace

import numpy as np

from services.wear_crossing import crossings
from services.wear_fit import fit_fleet
from services.wear_gauge import learn
from services.wear_kinds import WEAR_KINDS
from services.wear_model import Array, Series, Shape, Values
from tests.scores.goals import Goals
from tests.simulator.wear import KINDS, MOST, Parts

PROTOTYPE = {
    "chain": (0.125, 0.069, 0.050),
    "shock": (0.178, 0.122, 0.095),
    "elastomer": (0.511, 0.379, 0.262),
    "battery": (0.179, 0.129, 0.104),
}
CODES = {
    "chain": "chain_elongation_pct", "shock": "shock_pressure", "elastomer": "hardness_shore_a",
    "battery": "battery_capacity_wh",
}  # fmt: skip
FIT_SEEDS, SMALL_SEEDS, SCORE_SEEDS = (11,), (21, 22, 23, 24), (901, 902, 903)
LEVELS = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Told:
    """Relative error, coverage of the 80 % range and number of parts."""

    error: float
    covered: float
    count: int


def first_readings(series: Series, rows: Array, counts: Array | int) -> Series:
    """Return the first `counts` measurements of each of the rows."""
    counts = np.broadcast_to(counts, len(rows))
    width = max(1, int(counts.max()))
    used = np.arange(width) < counts[:, None]
    columns = (series.u, series.low, series.high, series.second, series.noise)
    return Series(
        *(column[rows][:, :width] for column in columns), used, series.life[rows][:, :width], series.rate[rows]
    )


def fleet_of(kind: str, seed: int, parts: int, shipped: Values) -> Values:
    """Return values fitted to `parts` parts with 1 to 6 measurements each."""
    drawn = KINDS[kind](seed, parts)
    counts = np.random.default_rng([seed, 9]).integers(1, MOST + 1, parts)
    series = first_readings(drawn.series, np.arange(parts), counts)
    return fit_fleet(WEAR_KINDS[CODES[kind]].shape, series, shipped)


def tested(parts: Parts, measured: int) -> Array:
    """Return the parts that are not past the limit after so many measurements and meet it within what is looked ahead."""
    return np.flatnonzero((parts.series.u[:, measured - 1] < parts.crossing) & (parts.crossing < parts.cap))


def told_by(parts: Parts, measured: int, shape: Shape, values: Values) -> Told:
    """Return how well the product's rule does."""
    rows = tested(parts, measured)
    learnt = learn(shape, values, first_readings(parts.series, rows, measured))
    low, middle, high = np.minimum(crossings(learnt, parts.limit, LEVELS, parts.cap, still_good=True), parts.cap).T
    true = parts.crossing[rows]
    return Told(_error(middle, true), float(((low <= true) & (true <= high)).mean()), len(rows))


def own_line(parts: Parts, measured: int) -> float:
    """Return the error of a straight line through a part's own measurements; one alone is joined with nothing worn at 0."""
    rows = tested(parts, measured)
    u, y = parts.series.u[rows][:, :measured], parts.series.low[rows][:, :measured]
    if measured == 1:
        slope, start = (y / u)[:, 0], np.zeros(len(rows))
    else:
        away = u - u.mean(axis=1, keepdims=True)
        slope = (away * y).sum(axis=1) / (away**2).sum(axis=1)
        start = y.mean(axis=1) - slope * u.mean(axis=1)
    met = np.where(slope > 0, (parts.limit - start) / np.where(slope > 0, slope, 1.0), parts.cap)
    return _error(np.clip(met, u[:, -1], parts.cap), parts.crossing[rows])


def _error(told: Array, true: Array) -> float:
    return float(np.median(np.abs(told - true) / true))


def _mean(told: list[Told]) -> Told:
    return Told(*(float(np.mean([getattr(one, name) for one in told])) for name in ("error", "covered")),
                sum(one.count for one in told))  # fmt: skip


def score_kind(goals: Goals, kind: str, count: int, seeds: tuple[int, ...], small_seeds: tuple[int, ...]) -> None:
    """Print and judge one kind."""
    shape, shipped = WEAR_KINDS[CODES[kind]].shape, WEAR_KINDS[CODES[kind]].shipped
    off = replace(shipped, mean=tuple(1.4 * mean for mean in shipped.mean))
    big = fleet_of(kind, FIT_SEEDS[0], 200, shipped)
    small = [fleet_of(kind, seed, 30, shipped) for seed in small_seeds]
    misled = [fleet_of(kind, seed, 30, off) for seed in small_seeds]
    usual = float(np.median(KINDS[kind](FIT_SEEDS[0], 2000).crossing))
    scored = [KINDS[kind](seed, count) for seed in seeds]
    for measured, theirs in zip((1, 2, 3), PROTOTYPE[kind], strict=True):
        ours = _mean([told_by(parts, measured, shape, big) for parts in scored])
        few = _mean([told_by(parts, measured, shape, values) for parts in scored for values in small])
        name = f"{kind}, {measured} measured"
        goals.at_most(f"{name}: error, fleet of 200 ({ours.count} parts)", ours.error, round(1.1 * theirs, 4), 3)
        goals.within(f"{name}: 80 % range", ours.covered, 0.75, 0.90)
        goals.at_most(f"{name}: error, fleets of 30", few.error, round(1.2 * theirs, 4), 3)
        away = np.mean([told_by(parts, measured, shape, values).error for parts in scored for values in misled])
        fixed = np.mean([_error(np.full(len(rows := tested(p, measured)), usual), p.crossing[rows]) for p in scored])
        line = np.mean([own_line(parts, measured) for parts in scored])
        goals.say(
            f"    80 % range with fleets of 30: {few.covered:.3f}; fleets of 30 started 40 % off: {away:.3f};"
            f" fixed life: {fixed:.3f}; own straight line: {line:.3f}"
        )
    if kind == "shock":
        _temperature(goals, scored, shape, big)


def _temperature(goals: Goals, scored: list[Parts], shape: Shape, values: Values) -> None:
    """What correcting the pressure by absolute values is worth."""
    for words, name in (("ratio on the gauge value", "gauge_corrected"), ("not corrected", "uncorrected")):
        told = _mean([
            told_by(replace(parts, series=replace(parts.series, low=getattr(parts, name), high=getattr(parts, name))),
                    2, shape, values)
            for parts in scored
        ])  # fmt: skip
        goals.say(f"    pressure, 2 measured, {words}: error {told.error:.3f}, 80 % range {told.covered:.3f}")


def main(argv: list[str]) -> int:
    """Score the four kinds; `--quick`: one draw of 1,000 parts and two small fleets."""
    quick = "--quick" in argv
    count, seeds, small = (1000, SCORE_SEEDS[:1], SMALL_SEEDS[:2]) if quick else (2500, SCORE_SEEDS, SMALL_SEEDS)
    goals = Goals(f"Wear: {count} parts x {len(seeds)} seeds {seeds}; fleets from seeds {FIT_SEEDS} and {small}")
    for kind in PROTOTYPE:
        score_kind(goals, kind, count, seeds, small)
    return goals.ended()
