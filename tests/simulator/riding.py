"""True daily riding of a simulated fleet: base rate, season, lay-ups, wander, illness, tours, stopping for good."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from tests.simulator.worlds import World

FIRST_DAY = date(2020, 1, 1).toordinal()  # days are ordinals, as in services; index 0 is this day
DAYS = 3654
DELIVERIES = 2162  # the first so many days hold a delivery each with the same chance
YEAR = 365.25
HALF_YEAR = 182
MONTH_OF_DAY = (
    (np.datetime64("2020-01-01") + np.arange(DAYS + HALF_YEAR)).astype("datetime64[M]").astype(int) % 12
)  # fmt: skip
YEAR_STARTS = [
    int((np.datetime64(f"{year}-01-01") - np.datetime64("2020-01-01")).astype(int)) for year in range(2019, 2031)
]
NOV, FEB, MAY = 304, 45, 120  # 1 November, 15 February, 1 May as days of the year, from 0


@dataclass(frozen=True)
class Riding:
    """Delivery (day index), southern flag, life in km at the end of each day (n x DAYS, float32), km before delivery."""

    delivery: np.ndarray
    southern: np.ndarray
    life: np.ndarray
    test_km: np.ndarray


def ride(rng: np.random.Generator, n: int, world: World) -> Riding:
    """Return the true riding of `n` machines."""
    delivery = rng.integers(0, DELIVERIES, n)
    southern = rng.random(n) < world.southern_share
    test_km = rng.uniform(0, 25, n)
    age = np.arange(DAYS, dtype=np.float32)[None, :] - delivery[:, None].astype(np.float32)
    log_rate = _log_base(rng, n, world)[:, None] - np.float32(np.log(YEAR)) + _wander(rng, n, world)
    log_rate += world.novelty * np.exp(-np.maximum(age, 0) / np.float32(world.novelty_days))
    log_rate += np.float32(world.ageing / YEAR) * age
    log_rate += _changes(rng, delivery, world)
    rate = np.exp(log_rate, out=log_rate)
    rate *= _season(rng, southern, world)
    _lay_up(rng, rate, southern, world)
    _fall_ill(rng, rate, world)
    daily = _ride_days(rng, rate)
    _tour(rng, daily, southern, world)
    stopped = delivery + rng.exponential(YEAR / world.stops, n)
    daily[(age <= 0) | (np.arange(DAYS)[None, :] > stopped[:, None])] = 0
    life = np.cumsum(daily, axis=1, dtype=np.float64) + test_km[:, None]
    life[age < 0] = 0
    return Riding(delivery, southern, life.astype(np.float32), test_km)


def _log_base(rng: np.random.Generator, n: int, world: World) -> np.ndarray:
    if world.two_groups is None:
        base = np.log(world.median_km) + world.spread * rng.standard_normal(n)
    else:
        low, high, spread = world.two_groups
        base = np.log(np.where(rng.random(n) < 0.5, low, high)) + spread * rng.standard_normal(n)
    return base.astype(np.float32)


def _wander(rng: np.random.Generator, n: int, world: World) -> np.ndarray:
    """An Ornstein-Uhlenbeck path per machine, drawn weekly and interpolated to days."""
    weeks = DAYS // 7 + 2
    keep = np.exp(-7 / world.wander_days)
    shocks = rng.standard_normal((weeks, n), dtype=np.float32) * np.float32(world.wander_sd)
    for week in range(1, weeks):
        shocks[week] = keep * shocks[week - 1] + np.sqrt(1 - keep**2) * shocks[week]
    share = (np.arange(7, dtype=np.float32) / 7)[None, :, None]
    days = shocks[:-1, None, :] * (1 - share) + shocks[1:, None, :] * share
    return np.ascontiguousarray(days.reshape(-1, n)[:DAYS].T)


def _events(rng: np.random.Generator, n: int, per_year: float) -> tuple[np.ndarray, np.ndarray]:
    """Machine and day index of events at a constant rate over the whole time."""
    machine = np.repeat(np.arange(n), rng.poisson(per_year * DAYS / YEAR, n))
    return machine, rng.integers(0, DAYS, len(machine))


def _changes(rng: np.random.Generator, delivery: np.ndarray, world: World) -> np.ndarray:
    machine, day = _events(rng, len(delivery), world.changes)
    size = rng.normal(-0.25, 0.5, len(machine))
    counted = day > delivery[machine]
    steps = np.zeros((len(delivery), DAYS), dtype=np.float32)
    np.add.at(steps, (machine[counted], day[counted]), size[counted])
    return np.cumsum(steps, axis=1, out=steps)


def _season(rng: np.random.Generator, southern: np.ndarray, world: World) -> np.ndarray:
    """Month factors a machine and day, each machine's average 1 over the months."""
    power = np.clip(rng.normal(1, world.profile_power_sd, len(southern)), 0, 2)
    profile = np.array(world.profile) / np.mean(world.profile)
    own = profile[None, :] ** power[:, None]
    own = (own / own.mean(axis=1, keepdims=True)).astype(np.float32)
    north, south = own[:, MONTH_OF_DAY[:DAYS]], own[:, MONTH_OF_DAY[HALF_YEAR : HALF_YEAR + DAYS]]
    return np.where(southern[:, None], south, north)


def _lay_up(rng: np.random.Generator, rate: np.ndarray, southern: np.ndarray, world: World) -> None:
    n = len(southern)
    shift = np.where(southern, HALF_YEAR, 0)
    lays_up = rng.random(n) < world.layup_share
    for start in YEAR_STARTS:
        begin = start + NOV + rng.uniform(0, 45, n) + shift
        end = start + 365 + FEB + rng.uniform(0, 50, n) + shift
        this_winter = lays_up & (rng.random(n) < world.layup_winters)
        for machine in np.flatnonzero(this_winter):
            rate[machine, max(int(begin[machine]), 0) : max(int(end[machine]), 0)] = 0


def _fall_ill(rng: np.random.Generator, rate: np.ndarray, world: World) -> None:
    machine, day = _events(rng, len(rate), world.illnesses)
    length = np.exp(np.log(45) + 0.7 * rng.standard_normal(len(machine))).astype(int)
    for who, begin, days in zip(machine, day, length, strict=True):
        rate[who, begin : begin + days] *= np.float32(0.03)


def _ride_days(rng: np.random.Generator, rate: np.ndarray) -> np.ndarray:
    """km a day: a riding day with the machine's own chance, its length gamma around the rate."""
    chance = rng.beta(4, 6, len(rate)).astype(np.float32)[:, None]
    rides = rng.random(rate.shape, dtype=np.float32) < chance
    rate *= rides
    rate *= rng.standard_gamma(2.0, rate.shape, dtype=np.float32)
    rate /= 2 * chance
    return rate


def _tour(rng: np.random.Generator, daily: np.ndarray, southern: np.ndarray, world: World) -> None:
    n = len(southern)
    for start in YEAR_STARTS:
        for machine in np.repeat(np.arange(n), rng.poisson(world.tours, n)):
            begin = start + MAY + int(rng.uniform(0, 138)) + (HALF_YEAR if southern[machine] else 0)
            length = int(rng.integers(14, 29))
            km = world.tour_km * np.exp(0.5 * rng.standard_normal())
            if 0 <= begin < DAYS:
                daily[machine, begin : begin + length] += np.float32(km / length)
