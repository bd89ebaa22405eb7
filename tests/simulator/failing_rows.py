"""A simulated failing fleet written into the record: part types, trikes, readings, pieces, fitments, failures."""

from datetime import date, datetime, timedelta

import numpy as np

from tests.simulator.failing import KINDS, SEVERITIES, FailingFleet, kind_of
from tracker.models import Component, Failure, Fitment, OdometerReading, PartType, Trike
from tracker.queries.clock import workshop_zone


def moment(day: float) -> datetime:
    """A moment of that day as services count days: by the workshop's clock."""
    return (datetime.fromordinal(int(day)) + timedelta(days=day % 1.0)).replace(tzinfo=workshop_zone())


def write_rows(fleet: FailingFleet, name: str = "SIM") -> dict[int, PartType]:
    """Write the fleet into the record, in a handful of statements; return its part types by number. name: begins all serials."""
    end = float(fleet.until.toordinal())
    kinds = {
        int(n): PartType(kind=kind_of(int(n)), part_number=f"{name}-{n}", maker="Hazelwick Parts", name=f"{kind_of(int(n))} {n}")
        for n in np.unique(fleet.pieces.part_type)
    }  # fmt: skip
    PartType.objects.bulk_create(kinds.values())
    trikes = [
        Trike(frame_serial=f"{name}{row:05d}", model=fleet.model[row], state="delivered",
              severity=SEVERITIES[fleet.severity[row]][0], delivered_on=date.fromordinal(int(fleet.delivered[row])))
        for row in range(len(fleet.delivered))
    ]  # fmt: skip
    Trike.objects.bulk_create(trikes)
    last = end + 10.5
    km = (last - fleet.delivered) * fleet.km_a_day
    OdometerReading.objects.bulk_create(
        OdometerReading(trike=trike, read_at=moment(last), value=round(km[row], 3), km=float(km[row]), source="desk",
                        recorded_at=moment(last))
        for row, trike in enumerate(trikes)
    )  # fmt: skip
    _write_pieces(fleet, kinds, trikes, name)
    return kinds


def _write_pieces(fleet: FailingFleet, kinds: dict[int, PartType], trikes: list[Trike], name: str) -> None:
    pieces = fleet.pieces
    rows = range(len(pieces.trike))
    components = [
        Component(part_type=kinds[int(pieces.part_type[n])], serial=f"{name}-C{n:06d}", batch=pieces.batch[n],
                  firmware=pieces.firmware[n], state="returned" if pieces.failed[n] else "fitted",
                  made_on=date(int(pieces.batch[n][:4]), 1, 15))
        for n in rows
    ]  # fmt: skip
    Component.objects.bulk_create(components, batch_size=500)
    Fitment.objects.bulk_create(
        (Fitment(component=components[n], trike=trikes[pieces.trike[n]], position=KINDS[kind_of(int(pieces.part_type[n]))],
                 fitted_at=moment(pieces.start[n]), removed_at=moment(pieces.end[n]) if pieces.failed[n] else None)
         for n in rows),
        batch_size=500,
    )  # fmt: skip
    Failure.objects.bulk_create(
        (Failure(component=components[n], trike=trikes[pieces.trike[n]], mode="no_function", cause="unknown", found="owner",
                 happened_at=moment(pieces.end[n]))
         for n in rows if pieces.failed[n]),
        batch_size=500,
    )  # fmt: skip
