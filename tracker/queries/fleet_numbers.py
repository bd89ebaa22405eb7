"""What the fleet knows about riding: the numbers each trike is reckoned with, and how they are learned from the record."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from services.backtest import Looked
from services.fleet_rates import SHIPPED, SHIPPED_CYCLES, SHIPPED_HOURS, FleetRates
from services.hemisphere import is_southern
from services.wear_model import Values
from tracker.models import FleetNumbers, MeterReading, Ownership, Trike
from tracker.queries.clock import day_of_date

SHIPPED_BY_METER = {"km": SHIPPED, "hours": SHIPPED_HOURS, "cycles": SHIPPED_CYCLES}
METERS = {"hours": MeterReading.Meter.MOTOR_HOURS, "cycles": MeterReading.Meter.CHARGE_CYCLES}


@dataclass(frozen=True)
class FleetBook:
    """The rates of a fleet's meters, when they were learned (none: shipped), and how its parts wear, where that was learned."""

    km: FleetRates
    hours: FleetRates
    cycles: FleetRates
    row_id: int | None = None
    wear: dict[str, Values] = field(default_factory=dict)


SHIPPED_BOOK = FleetBook(SHIPPED, SHIPPED_HOURS, SHIPPED_CYCLES)


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


def owner_changes_of(trike_ids: Iterable[int]) -> dict[int, list[float]]:
    """Return trike id -> the days on which it passed to another owner, in order; none for most. One query."""
    changes: dict[int, list[float]] = {}
    rows = Ownership.objects.filter(trike_id__in=set(trike_ids)).order_by("trike_id", "since", "pk")
    for trike_id, since in rows.values_list("trike_id", "since"):
        changes.setdefault(trike_id, []).append(day_of_date(since))
    return {trike_id: days[1:] for trike_id, days in changes.items() if len(days) > 1}


def trikes_behind() -> list[int]:
    """Return the trikes that are still reckoned with older numbers than the latest."""
    newest = latest_numbers()
    if newest is None:
        return []
    rows = Trike.objects.exclude(state=Trike.State.RETIRED).values_list("pk", "fleet_numbers_id")
    return sorted(pk for pk, row_id in rows if row_id != newest.pk)


def backtest_of(row: FleetNumbers) -> dict[int, dict[str, Looked]]:
    """Return the stored look back as services/backtest.py gave it."""
    return {
        int(ahead): {name: Looked(**values) for name, values in classes.items()}
        for ahead, classes in row.backtest.items()
    }
