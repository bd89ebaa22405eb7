"""What the fleet knows about riding: the numbers each trike is reckoned with, and how they are learned from the record."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from services.backtest import Looked, look_back
from services.fleet_fit import fit_fleet, stretches_of
from services.fleet_rates import SHIPPED, SHIPPED_CYCLES, SHIPPED_HOURS, FleetRates
from services.hemisphere import is_southern
from services.wear_model import Values
from tracker.models import Component, FleetNumbers, MeterReading, Ownership, Trike
from tracker.queries.clock import day_of
from tracker.queries.visits import savings_ahead

SHIPPED_BY_METER = {"km": SHIPPED, "hours": SHIPPED_HOURS, "cycles": SHIPPED_CYCLES}
METERS = {"hours": MeterReading.Meter.MOTOR_HOURS, "cycles": MeterReading.Meter.CHARGE_CYCLES}
LOOK_BACK = timedelta(days=730)  # dates named in the last two years are looked back at


@dataclass(frozen=True)
class FleetBook:
    """The rates of a fleet's meters, when they were learned (none: shipped), and how its parts wear, where that was learned."""

    km: FleetRates
    hours: FleetRates
    cycles: FleetRates
    row_id: int | None = None
    wear: dict[str, Values] = field(default_factory=dict)


SHIPPED_BOOK = FleetBook(SHIPPED, SHIPPED_HOURS, SHIPPED_CYCLES)


@dataclass(frozen=True)
class Learned:
    """Fleet numbers fresh from the record, not yet kept."""

    machines: int
    stretches: int
    numbers: dict[str, dict[str, Any]]
    backtest: dict[str, dict[str, Any]]


def latest_numbers() -> FleetNumbers | None:
    """Return the newest fleet numbers, or None while the shipped ones hold."""
    return FleetNumbers.objects.order_by("-learned_at", "-pk").first()


def book_of(row: FleetNumbers | None) -> FleetBook:
    """Return a row's numbers as services/ takes them."""
    if row is None:
        return SHIPPED_BOOK
    rates = {
        meter: FleetRates.from_dict(row.numbers[meter]) if meter in row.numbers else shipped
        for meter, shipped in SHIPPED_BY_METER.items()
    }
    wear = {quantity: Values.from_dict(kept) for quantity, kept in row.numbers.get("wear", {}).items()}
    return FleetBook(rates["km"], rates["hours"], rates["cycles"], row.pk, wear)


def books_of(row_ids: Iterable[int | None]) -> dict[int | None, FleetBook]:
    """Return the books of these rows; None stands for the shipped numbers. One query, none where nothing was learned yet."""
    wanted = {pk for pk in row_ids if pk is not None}
    books: dict[int | None, FleetBook] = {None: SHIPPED_BOOK}
    if wanted:
        books |= {row.pk: book_of(row) for row in FleetNumbers.objects.filter(pk__in=wanted)}
    return books


def southern_of(trike_ids: Iterable[int]) -> dict[int, bool]:
    """Return trike id -> whether its rider's seasons are the southern ones, by the present owner's time zone."""
    rows = Ownership.objects.filter(trike_id__in=set(trike_ids), until__isnull=True)
    return {trike_id: is_southern(zone) for trike_id, zone in rows.values_list("trike_id", "owner__time_zone")}


def trikes_behind() -> list[int]:
    """Return the trikes that are still reckoned with older numbers than the latest."""
    newest = latest_numbers()
    if newest is None:
        return []
    rows = Trike.objects.exclude(state=Trike.State.RETIRED).values_list("pk", "fleet_numbers_id")
    return sorted(pk for pk, row_id in rows if row_id != newest.pk)


def learn(now: datetime) -> Learned:
    """Return what the whole record up to `now` teaches, with a look back at the dates it would have named.

    Takes seconds for thousands of trikes: runs in the background, outside of any transaction.
    """
    from tracker.queries.life import timelines_of
    from tracker.queries.wear import learn_wear

    lines = timelines_of(Trike.objects.filter(state=Trike.State.DELIVERED).values_list("pk", flat=True))
    south = southern_of(lines)
    machine, days, life = _columns([(pk, line.days, line.life_km) for pk, line in lines.items()])
    is_south = np.array([south.get(pk, False) for pk in lines])
    stretches = stretches_of(machine, days, life, is_south[machine] if len(machine) else False)
    km = fit_fleet(stretches)
    numbers = {"km": km.as_dict()}
    for name, meter in METERS.items():
        numbers[name] = _meter_numbers(meter, SHIPPED_BY_METER[name]).as_dict()
    numbers["wear"] = learn_wear()
    numbers["visits"] = asdict(savings_ahead(now))
    looked = look_back(machine, days, life, southern=is_south, fleet=km, since_day=day_of(now - LOOK_BACK))
    told = {str(ahead): {name: asdict(row) for name, row in classes.items()} for ahead, classes in looked.items()}
    return Learned(len(lines), len(stretches.km), numbers, told)


def _columns(
    lines: list[tuple[int, np.ndarray, np.ndarray]],
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(machine number from 0, day, life) of all points, end to end."""
    if not lines:
        return np.empty(0, dtype=int), np.empty(0), np.empty(0)
    machine = np.repeat(np.arange(len(lines)), [len(days) for _, days, _ in lines])
    return machine, np.concatenate([row[1] for row in lines]), np.concatenate([row[2] for row in lines])


def _meter_numbers(meter: str, shipped: FleetRates) -> FleetRates:
    """The rates of hours or charge cycles, over the components that have such a meter; by the northern calendar."""
    from tracker.queries.life import meter_lines_of

    parts = Component.objects.filter(meter_readings__meter=meter).distinct().values_list("pk", flat=True)
    lines = meter_lines_of(parts, meter)
    machine, days, values = _columns([(pk, line.days, line.life_km) for pk, line in lines.items()])
    return fit_fleet(stretches_of(machine, days, values), shipped)


def backtest_of(row: FleetNumbers) -> dict[int, dict[str, Looked]]:
    """Return the stored look back as services/backtest.py gave it."""
    return {
        int(ahead): {name: Looked(**values) for name, values in classes.items()}
        for ahead, classes in row.backtest.items()
    }
