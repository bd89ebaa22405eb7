"""The shop's outlook: bench work of the coming weeks, and how the ranges held so far."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from services.backtest import Looked
from services.fleet_rates import FleetRates
from services.load import minutes_of, weekly_load
from tracker.models import FleetNumbers
from tracker.queries.clock import day_of_date, local_date
from tracker.queries.due import due_list
from tracker.queries.fleet_numbers import backtest_of, book_of, latest_numbers

WEEKS = 12


@dataclass(frozen=True)
class Week:
    """Bench minutes expected in one week, with their 80 % range."""

    begins: date
    expected: float
    low: float
    high: float


@dataclass(frozen=True)
class Outlook:
    """backlog: minutes of what is due by now; weeks: the coming ones; lines: how many due lines it rests on."""

    backlog: float
    weeks: list[Week]
    lines: int


@dataclass(frozen=True)
class Held:
    """How dates named so many days ahead held: over all, and by how many stretches were known."""

    ahead: int
    over_all: Looked
    classes: dict[str, Looked]


@dataclass(frozen=True)
class Record:
    """What was learned last, and how the ranges held; None as long as nothing was learned."""

    row: FleetNumbers
    rates: FleetRates
    held: list[Held]


def bench_outlook(now: datetime) -> Outlook:
    """Return the bench work that falls due in the coming weeks; what comes with a larger service takes no time. One query."""
    today = local_date(now)
    # A line adds to these weeks only from before its 10 % date on, by half its way to the middle: rarely a quarter.
    near = today + timedelta(days=7 * WEEKS + 90)
    lines = due_list().filter(likely_from__lte=near).select_related(None).order_by()
    rows = list(lines.values_list("likely_from", "due_on", "likely_until", "task", "trike_id"))
    days = [[_day(low), _day(middle), _day(high)] for low, middle, high, _, _ in rows]
    tasks, of = [row[3] for row in rows], [row[4] for row in rows]
    load = weekly_load(
        np.array(days).reshape(-1, 3), minutes_of(tasks, of, [day[1] for day in days]),
        np.array([row[4] for row in rows]), day_of_date(today), WEEKS,
    )  # fmt: skip
    weeks = [
        Week(today + timedelta(days=7 * k), float(load.expected[k]), float(load.low[k]), float(load.high[k]))
        for k in range(WEEKS)
    ]
    return Outlook(load.backlog, weeks, len(rows))


def _day(day: date | None) -> float:
    return np.inf if day is None else day_of_date(day)


def record() -> Record | None:
    """Return the newest fleet numbers with their look back. One query."""
    row = latest_numbers()
    if row is None:
        return None
    held = [
        Held(ahead, classes["all"], {name: looked for name, looked in classes.items() if name != "all"})
        for ahead, classes in backtest_of(row).items()
    ]
    return Record(row, book_of(row).km, held)
