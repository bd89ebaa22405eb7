"""A simulated fleet whose parts fail by known laws: trikes, pieces, failures, as plain lives. As rows: failing_rows.py.

`failing_fleet(seed)`: one generator a seed. Every kind of part has two part types; each trike got one of them, from the batch
of its year, and again from the batch of the day whenever a piece failed. By default every piece of a kind fails by
chance at one rate: nothing is to be found. Planted problems change the law of some pieces. All figures are assumptions.
Days are ordinals; distance grows evenly from the delivery on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from services.review.metrics import main_metric
from services.review.observed import MONTHS, PartLives, Streams

UNTIL = date(2026, 5, 1)
YEARS = 6.0
MODELS = ("Fenrunner", "Saltmarsh", "Overshot")
SEVERITIES = ((1.0, "on dry tarmac"), (0.75, "in the wet or on winter salt"), (0.5, "on sand or gravel, or loaded"))
KINDS = {  # kind -> position
    "motor": "boom-motor", "battery": "battery", "display": "display", "hub_geared": "rear-hub", "chain": "chain",
    "air_shock": "rear-shock", "brake": "brake-left", "kingpin": "kingpin-left", "tie_rod": "tie-rod", "wheel": "wheel-left",
    "seat_mesh": "seat", "idler": "idler", "lights": "lights",
}  # fmt: skip
VERSIONED = frozenset({"motor", "battery", "display"})
LIFE_KM, LIFE_DAYS = 90_000.0, 9_000.0  # mean of what fails by chance: about one piece in eight within the record
LIFE_OF = {"display": 1_500.0}  # days; displays have faults more often
WORN = 12_000.0  # km: the life of what wears out


@dataclass(frozen=True)
class Plant:
    """A planted problem: pieces of part type `part_type` (and batch or version) fail `times` as often, or by wear."""

    part_type: int
    batch: str = ""
    firmware: str = ""
    times: float = 1.0
    shape: float = 1.0


BAD_BATCH = Plant(part_type=10, batch="2022-23", times=6.0)  # an air shock
WEAR_OUT = Plant(part_type=14, shape=3.5)  # a kingpin
FAULTY_VERSION = Plant(part_type=4, firmware="3.2", times=2.0)  # a display
PLANTED = (BAD_BATCH, WEAR_OUT, FAULTY_VERSION)


@dataclass
class Pieces:
    """Pieces in the order they were fitted; arrays (n,)."""

    trike: np.ndarray
    part_type: np.ndarray
    start: np.ndarray  # day
    end: np.ndarray  # day it failed, or UNTIL
    failed: np.ndarray
    batch: np.ndarray
    firmware: np.ndarray


@dataclass(frozen=True)
class FailingFleet:
    """Trikes (t,) with their pieces; part type 2 k and 2 k + 1 are sisters of kind k."""

    until: date
    delivered: np.ndarray
    km_a_day: np.ndarray
    model: np.ndarray
    severity: np.ndarray  # row of SEVERITIES
    pieces: Pieces

    def km(self, trike: np.ndarray, day: np.ndarray) -> np.ndarray:
        """Distance of trikes on days."""
        return np.maximum(day - self.delivered[trike], 0.0) * self.km_a_day[trike]


def kind_of(part_type: int) -> str:
    """The kind of a part type."""
    return list(KINDS)[part_type // 2]


def in_stock(days: np.ndarray) -> np.ndarray:
    """The batch that was in stock on a day: one lasts from July to June, 2023-24."""
    dates = [date.fromordinal(int(day)) for day in days]
    firsts = [day.year - (day.month < 7) for day in dates]
    return np.array([f"{first}-{(first + 1) % 100:02d}" for first in firsts], dtype=object)


def failing_fleet(
    seed: int, trikes: int = 240, plants: Sequence[Plant] = (), kinds: Sequence[str] = tuple(KINDS)
) -> FailingFleet:
    """Return the fleet of that seed."""
    rng = np.random.default_rng(seed)
    end = float(UNTIL.toordinal())
    delivered = np.sort(end - np.ceil(rng.uniform(20, 365.25 * YEARS, trikes)) + 0.5)  # noon of a day
    km_a_day = np.exp(rng.normal(np.log(2800 / 365.25), 0.6, trikes))
    model, severity = rng.choice(MODELS, trikes), rng.choice(3, trikes, p=(0.6, 0.3, 0.1))
    parts = []
    for kind in kinds:
        first = 2 * list(KINDS).index(kind)
        parts += _generations(rng, kind, first + rng.integers(0, 2, trikes), delivered, km_a_day, plants)
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    order = np.argsort(columns[2], kind="stable")
    return FailingFleet(UNTIL, delivered, km_a_day, model, severity, Pieces(*(column[order] for column in columns)))


def _generations(rng, kind, part_type, delivered, km_a_day, plants):
    """The pieces of one position: the first, and one more after each failure."""
    end, trike, start = float(UNTIL.toordinal()), np.arange(len(delivered)), delivered.copy()
    while len(trike):
        batch, firmware = in_stock(start), np.full(len(trike), "", dtype=object)
        if kind in VERSIONED:
            firmware = rng.choice(np.array(["3.1", "3.2"], dtype=object), len(trike))
        shape, life = _laws(kind, part_type[trike], batch, firmware, plants)
        run = life * rng.weibull(shape)
        days = run if main_metric(kind) == "days" else run / km_a_day[trike]
        stop = np.minimum(start + np.maximum(days, 0.5), end)
        failed = stop < end
        yield trike, part_type[trike], start, stop, failed, batch, firmware
        trike, start = trike[failed], stop[failed]


def _laws(kind, part_type, batch, firmware, plants):
    """(shape, life) of each piece."""
    usual = LIFE_OF.get(kind, LIFE_DAYS if main_metric(kind) == "days" else LIFE_KM)
    shape, life = np.ones(len(part_type)), np.full(len(part_type), usual)
    for plant in plants:
        own = (part_type == plant.part_type) & ((batch == plant.batch) | (plant.batch == ""))
        own &= (firmware == plant.firmware) | (plant.firmware == "")
        life[own] = usual / plant.times if plant.shape == 1.0 else WORN
        shape[own] = plant.shape
    return shape, life


def as_lives(fleet: FailingFleet) -> list[PartLives]:
    """The fleet as the review takes it, each part type in its main metric."""
    return [one_part(fleet, int(number)) for number in np.unique(fleet.pieces.part_type)]


def one_part(fleet: FailingFleet, number: int, metric: str = "") -> PartLives:
    """One part type in a metric, else in its main one."""
    kind, pieces = kind_of(number), fleet.pieces
    metric = metric or main_metric(kind)
    own = np.flatnonzero(pieces.part_type == number)
    trike, start, end = pieces.trike[own], pieces.start[own], pieces.end[own]

    def age(day):
        inside = np.clip(day, start, end)
        return inside - start if metric == "days" else fleet.km(trike, inside) - fleet.km(trike, start)

    bounds = _bounds(fleet.until)
    until, failed, n = age(end), pieces.failed[own], len(own)
    back = MONTHS - np.searchsorted(bounds, end, side="right")
    return PartLives(
        part_type=number, kind=kind, maker="Hazelwick Parts", name=f"{kind} {number}", metric=metric, component=own,
        known=np.ones(n, dtype=bool), entry=np.zeros(n), end=until, failed=failed, last_good=np.full(n, np.nan),
        mode=np.where(failed, "no_function", ""), month=np.where(failed & (back < MONTHS), back, -1), running=0,
        repairs=failed.astype(int), accidents=np.zeros(n, dtype=int), machine=trike, fitted=~failed, age=until,
        at_month=np.stack([age(bound) for bound in bounds], axis=1),
        ahead=np.where(failed, 0.0, 365.0 if metric == "days" else 365.0 * fleet.km_a_day[trike]),
        groups={
            "batch": pieces.batch[own].astype(str), "firmware": pieces.firmware[own].astype(str),
            "made_year": np.array([label[:4] for label in pieces.batch[own]]), "model": fleet.model[trike].astype(str),
            "severity": np.array([SEVERITIES[row][1] for row in fleet.severity[trike]]),
        },
        streams=Streams(np.empty(0), np.empty(0), np.empty(0, dtype=int), np.empty(0)),
    )  # fmt: skip


def _bounds(until: date) -> np.ndarray:
    month = until.year * 12 + until.month - 1
    firsts = [date((month - back) // 12, (month - back) % 12 + 1, 1) for back in range(MONTHS, -1, -1)]
    return np.array([float(first.toordinal()) for first in firsts])
