"""A simulated fleet with known truth: true daily riding, readings as people type them, tasks with true due days.

`simulate(seed, n, world)`: one generator per seed, the same fleet every time. Days are ordinals (date.toordinal()), as
in services/; life on a day is life at its end.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from tests.simulator.readings import Swaps, swap_displays, type_readings
from tests.simulator.riding import DAYS, FIRST_DAY, ride
from tests.simulator.worlds import WORLDS

__all__ = ["DAYS", "FIRST_DAY", "Fleet", "Tasks", "as_of_days", "simulate", "tasks"]
FAR = 730.0
LENGTHS_KM, LENGTH_SHARES = (1000.0, 2000.0, 4000.0), (0.40, 0.35, 0.25)


@dataclass(frozen=True)
class Fleet:
    """n machines; readings (m rows) sorted by machine, day and order of entry; announced swaps (k rows)."""

    delivery: np.ndarray  # n, day of delivery
    southern: np.ndarray  # n, bool
    life: np.ndarray  # n x DAYS, float32, km at the end of day FIRST_DAY + column; 0 before delivery
    machine: np.ndarray  # m
    day: np.ndarray  # m, float: the date it was entered for
    value: np.ndarray  # m, km as typed
    source: np.ndarray  # m, 'delivery', 'bench' or 'owner'
    error: np.ndarray  # m, '' or a kind of tests.simulator.readings.ERRORS
    correct: np.ndarray  # m, what should have been typed
    true_life: np.ndarray  # m, true life when the display was looked at
    double: np.ndarray  # m, bool: entered twice
    swap_machine: np.ndarray  # k
    swap_day: np.ndarray  # k, readings from this day on are of the new display
    old_final: np.ndarray  # k, nan where nobody noted it
    new_start: np.ndarray  # k
    all_swaps: Swaps  # the silent ones too; days are indices

    @property
    def n(self) -> int:
        """How many machines there are."""
        return len(self.delivery)

    def known_on(self, day: float) -> np.ndarray:
        """Which readings (mask of m) were entered for `day` or earlier."""
        return self.day <= day

    def life_on(self, machine: np.ndarray, day: np.ndarray | float) -> np.ndarray:
        """True life (km) at the end of a day."""
        column = np.clip(np.floor(np.asarray(day)).astype(int) - FIRST_DAY, 0, DAYS - 1)
        return self.life[machine, column].astype(float)

    def material(self) -> np.ndarray:
        """Which readings are off by more than max(30 km, 2 %)."""
        return (self.error != "") & (np.abs(self.value - self.correct) > np.maximum(30.0, 0.02 * self.correct))


@dataclass(frozen=True)
class Tasks:
    """One task a machine delivered by the as-of day: the life it is due at, its true due day (at most as-of + 730)."""

    machine: np.ndarray
    target_km: np.ndarray
    due_day: np.ndarray


def simulate(seed: int, n: int = 2000, world: str = "base") -> Fleet:
    """Return the fleet of that seed. `world` is a key of tests.simulator.worlds.WORLDS."""
    rng = np.random.default_rng(seed)
    settings = WORLDS[world]
    riding = ride(rng, n, settings)
    swaps, offset = swap_displays(rng, riding, settings)
    typed = type_readings(rng, riding, offset, settings)
    told = swaps.announced
    return Fleet(
        delivery=riding.delivery + float(FIRST_DAY), southern=riding.southern, life=riding.life,
        machine=typed.machine, day=typed.day + FIRST_DAY, value=typed.value, source=typed.source, error=typed.error,
        correct=typed.correct, true_life=typed.true_life, double=typed.double,
        swap_machine=swaps.machine[told], swap_day=swaps.day[told] + float(FIRST_DAY),
        old_final=np.where(swaps.old_known, swaps.old_final, np.nan)[told], new_start=swaps.new_start[told],
        all_swaps=swaps,
    )  # fmt: skip


def as_of_days(year: int = 2026) -> list[float]:
    """The 15th of each month."""
    return [float(date(year, month, 15).toordinal()) for month in range(1, 13)]


def tasks(fleet: Fleet, as_of_day: float, seed: int = 0) -> Tasks:
    """Return one task a delivered machine: due max(U(0, 1) * L, 1) km after true life at its last known reading."""
    rng = np.random.default_rng([seed, int(as_of_day)])
    length = rng.choice(LENGTHS_KM, fleet.n, p=LENGTH_SHARES)
    ahead = np.maximum(rng.random(fleet.n) * length, 1.0)
    last = np.zeros(fleet.n)
    known = fleet.known_on(as_of_day)
    last[fleet.machine[known]] = fleet.true_life[known]  # sorted by day: the last one written stands
    machine = np.flatnonzero(fleet.delivery <= as_of_day)
    target = last[machine] + ahead[machine]
    column = np.array([np.searchsorted(fleet.life[k], km) for k, km in zip(machine, target, strict=True)])
    return Tasks(machine, target, np.minimum(FIRST_DAY + column, as_of_day + FAR).astype(float))
