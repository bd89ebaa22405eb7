"""What the whole record teaches: riding, meters, wear, how named dates held, what planned visits save. Background work only."""

from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from services.backtest import look_back
from services.fleet_fit import fit_fleet, stretches_of
from services.odometer import Timeline
from tracker.models import MeterReading, Trike
from tracker.queries.clock import day_of
from tracker.queries.fleet_numbers import METERS, SHIPPED_BY_METER, southern_of
from tracker.queries.life import meter_lines_of, timelines_of
from tracker.queries.visits import savings_ahead
from tracker.queries.wear import learn_wear

LOOK_BACK = timedelta(days=730)  # dates named in the last two years are looked back at


@dataclass(frozen=True)
class Learned:
    """Fleet numbers fresh from the record, not yet kept."""

    machines: int
    stretches: int
    numbers: dict[str, dict[str, Any]]
    backtest: dict[str, dict[str, Any]]


def learn(now: datetime) -> Learned:
    """Return what the whole record up to `now` teaches, with a look back at the dates it would have named.

    Takes seconds for thousands of trikes: runs in the background, outside of any transaction.
    """
    lines = timelines_of(Trike.objects.filter(state=Trike.State.DELIVERED).values_list("pk", flat=True))
    south = southern_of(lines)
    machine, days, life = _columns(list(lines.values()))
    is_south = np.array([south.get(pk, False) for pk in lines])
    stretches = stretches_of(machine, days, life, is_south[machine] if len(machine) else False)
    km = fit_fleet(stretches)
    numbers = {"km": km.as_dict()}
    meters = meter_lines_of(MeterReading.objects.order_by().values_list("component_id", flat=True).distinct())
    for name, meter in METERS.items():
        own = [line for (_, kind), line in meters.items() if kind == meter]
        numbers[name] = fit_fleet(stretches_of(*_columns(own)), SHIPPED_BY_METER[name]).as_dict()  # by northern months
    numbers["wear"] = learn_wear()
    numbers["visits"] = asdict(savings_ahead(now))
    looked = look_back(machine, days, life, southern=is_south, fleet=km, since_day=day_of(now - LOOK_BACK))
    told = {str(ahead): {name: asdict(row) for name, row in classes.items()} for ahead, classes in looked.items()}
    return Learned(len(lines), len(stretches.km), numbers, told)


def _columns(lines: list[Timeline]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(machine number from 0, day, life) of all points, end to end."""
    if not lines:
        return np.empty(0, dtype=int), np.empty(0), np.empty(0)
    machine = np.repeat(np.arange(len(lines)), [len(line.days) for line in lines])
    return machine, np.concatenate([line.days for line in lines]), np.concatenate([line.life_km for line in lines])
