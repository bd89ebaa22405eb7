"""What people read off the displays of a simulated fleet, and how they get it wrong."""

from dataclasses import dataclass

import numpy as np

from tests.simulator.riding import DAYS, MONTH_OF_DAY, YEAR, Riding
from tests.simulator.worlds import BENCH_MONTHS, World

MILE = 1.609344
MOST_READINGS = 30
READ_UNTIL = 2557  # nobody reads after 2026
SOURCES = ("delivery", "bench", "owner")
ERRORS = ("", "miles_as_km", "km_as_miles", "swapped", "wrong", "lost", "doubled")


@dataclass(frozen=True)
class Swaps:
    """Display swaps, announced or not: machine, day index, what the old display showed last, where the new one began."""

    machine: np.ndarray
    day: np.ndarray
    old_final: np.ndarray
    new_start: np.ndarray
    announced: np.ndarray
    old_known: np.ndarray


@dataclass(frozen=True)
class Typed:
    """Readings sorted by machine and day: see `tests.simulator.fleet.Fleet` for the columns; days are indices here."""

    machine: np.ndarray
    day: np.ndarray
    value: np.ndarray
    source: np.ndarray
    correct: np.ndarray
    true_life: np.ndarray
    error: np.ndarray
    double: np.ndarray


def swap_displays(rng: np.random.Generator, riding: Riding, world: World) -> tuple[Swaps, np.ndarray]:
    """Return the swaps, and what each display shows minus true life: n x DAYS, float32."""
    n = len(riding.delivery)
    machine = np.repeat(np.arange(n), rng.poisson(world.swaps * (DAYS - riding.delivery) / YEAR))
    day = (riding.delivery[machine] + 1 + rng.random(len(machine)) * (DAYS - 2 - riding.delivery[machine])).astype(int)
    order = np.lexsort((day, machine))
    machine, day = machine[order], day[order]
    kind, used, near = rng.random(len(machine)), rng.uniform(0, 4000, len(machine)), rng.normal(0, 30, len(machine))
    offset = np.zeros((n, DAYS), dtype=np.float32)
    old = np.zeros(len(machine))
    new = np.zeros(len(machine))
    for k, (who, when) in enumerate(zip(machine, day, strict=True)):
        before = float(riding.life[who, when - 1])
        old[k] = round(before + float(offset[who, when - 1]))
        new[k] = 0.0 if kind[k] < 0.75 else round(used[k]) if kind[k] < 0.9 else max(round(old[k] + near[k]), 0)
        offset[who, when:] = new[k] - before
    announced = rng.random(len(machine)) < world.announced
    known = rng.random(len(machine)) < 0.6
    return Swaps(machine, day, old, new, announced, known), offset


def type_readings(rng: np.random.Generator, riding: Riding, offset: np.ndarray, world: World) -> Typed:
    """Return every reading of every machine as it was typed."""
    machine, seen, source, step, lag = _occasions(rng, riding, world)
    life = riding.life[machine, seen].astype(float)
    shown = life + offset[machine, seen]
    correct = np.round(shown / step) * step
    value, error = _mistype(rng, shown, correct, step, world)
    day = np.minimum(seen + lag, DAYS - 1)
    doubled = rng.random(len(machine)) < world.doubles
    wobble = rng.integers(-1, 2, len(machine))
    again = np.maximum(value + wobble, 0)
    twice = np.concatenate([np.arange(len(machine)), np.flatnonzero(doubled)])
    is_double = np.arange(len(twice)) >= len(machine)
    order = np.lexsort((is_double, day[twice], machine[twice]))
    pick, is_double = twice[order], is_double[order]
    return Typed(
        machine[pick], day[pick].astype(float), np.where(is_double, again[pick], value[pick]), source[pick],
        correct[pick], life[pick], error[pick], is_double,
    )  # fmt: skip


def _occasions(rng: np.random.Generator, riding: Riding, world: World) -> tuple[np.ndarray, ...]:
    """Machine, day index seen, source, rounding step and days until typed of every reading."""
    n, start = len(riding.delivery), riding.delivery
    handed = np.flatnonzero(rng.random(n) < 0.9)
    factor = np.array(BENCH_MONTHS)
    bench, bench_day = _poisson_days(rng, start, np.full(n, world.bench * factor.max()))
    kept = rng.random(len(bench)) < factor[MONTH_OF_DAY[bench_day]] / factor.max()
    bench, bench_day = bench[kept], bench_day[kept]
    per_year = world.owner_median * np.exp(world.owner_spread * rng.standard_normal(n))
    per_year[rng.random(n) < world.never_report] = 0
    owner, owner_day = _poisson_days(rng, start, per_year)
    room = MOST_READINGS - np.bincount(handed, minlength=n) - np.bincount(bench, minlength=n)
    kept = _thinned(rng, owner, np.maximum(room, 0))
    owner, owner_day = owner[kept], owner_day[kept]
    step = rng.choice([1.0, 10.0, 100.0], len(owner), p=[0.55, 0.30, 0.15])
    late = rng.random(len(owner)) < world.late_share
    lag = np.where(late, np.round(rng.exponential(world.late_days, len(owner))), 0).astype(int)
    exact = len(handed) + len(bench)
    return (
        np.concatenate([handed, bench, owner]),
        np.concatenate([start[handed], bench_day, owner_day]),
        np.repeat(np.array(SOURCES), [len(handed), len(bench), len(owner)]),
        np.concatenate([np.ones(exact), step]),
        np.concatenate([np.zeros(exact, dtype=int), lag]),
    )


def _poisson_days(rng: np.random.Generator, start: np.ndarray, per_year: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    span = READ_UNTIL - 1 - start
    machine = np.repeat(np.arange(len(start)), rng.poisson(per_year * span / YEAR))
    return machine, (start[machine] + 1 + rng.random(len(machine)) * (span[machine] - 1)).astype(int)


def _thinned(rng: np.random.Generator, machine: np.ndarray, room: np.ndarray) -> np.ndarray:
    """Which of the readings (sorted by machine) stay, drawn at random, so that none has more than `room`."""
    draw = rng.random(len(machine))
    order = np.lexsort((draw, machine))
    first = np.searchsorted(machine, machine, side="left")
    stays = np.empty(len(machine), dtype=bool)
    stays[order] = np.arange(len(machine)) - first < room[machine]
    return stays


def _mistype(
    rng: np.random.Generator, shown: np.ndarray, correct: np.ndarray, step: np.ndarray, world: World
) -> tuple[np.ndarray, np.ndarray]:
    """What was typed, and the kind of error ('' where the value came out right)."""
    draw, half = rng.random(len(shown)), rng.random(len(shown)) < 0.5
    slip = draw < world.unit_slips
    value = np.where(slip, np.round(np.where(half, shown / MILE, shown * MILE) / step) * step, correct)
    error = np.where(slip, np.where(half, ERRORS[1], ERRORS[2]), "").astype("U12")
    for k in np.flatnonzero((draw >= world.unit_slips) & (draw < world.unit_slips + world.typos)):
        kind = ERRORS[3 + int(rng.integers(4))]
        value[k], error[k] = float(mistyped(str(int(correct[k])), kind, rng)), kind
    error[value == correct] = ""
    return value, error


def mistyped(digits: str, kind: str, rng: np.random.Generator) -> str:
    """Return the digits with one slip: neighbours 'swapped', one 'wrong', one 'lost' or one 'doubled'."""
    at = int(rng.integers(len(digits)))
    if kind == "swapped":
        at = min(at, max(len(digits) - 2, 0))
        return digits[:at] + digits[at : at + 2][::-1] + digits[at + 2 :]
    if kind == "wrong":
        return digits[:at] + str((int(digits[at]) + 1 + int(rng.integers(9))) % 10) + digits[at + 1 :]
    if kind == "lost":
        return (digits[:at] + digits[at + 1 :]) or "0"
    return digits[: at + 1] + digits[at] + digits[at + 1 :]
