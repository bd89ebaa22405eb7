"""How long a bulletin's match takes on PostgreSQL with 1.2 million components, beside the bare query of an index.

Makes a database of its own beside the one DATABASE_URL names, and drops it at the end. --quick: a fiftieth of the rows, and no
goal: a few dozen pieces cost less than putting the question.

Both are asked in turn by one client, rows and all, so that a busy neighbour slows both. The bare query knows the part
type's id and asks twice by an index, for what is named and for what is not known; the match says how sure it is of each.
"""

import importlib
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from tests.scores.goals import Goals

TRIKES = 100_000
PER_TRIKE = 12  # components
ROUNDS = 30
GOAL = 3.0
ENOUGH = 1_000  # pieces: below, both take a few milliseconds and putting the question is most of it


def main(options: list[str]) -> int:
    """Hold each kind of match against three times its bare query."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.test")
    os.environ.setdefault("LOG_LEVEL", "WARNING")
    import django

    django.setup()
    from django.db import connection

    from tests.scores.find import own_database

    if connection.vendor != "postgresql":
        print("This score needs PostgreSQL: set DATABASE_URL=postgres://... to a role that may create databases.")
        return 2
    with own_database():
        return measured(TRIKES // 50 if "--quick" in options else TRIKES)


@dataclass(frozen=True)
class Case:
    """A scope, and the bare query for what it names: text after WHERE, and its values."""

    name: str
    scope: Any
    where: str
    values: list[Any]
    unknown: str = ""  # the same for what is not known of a component, where that is not one column alone
    unknown_values: tuple[Any, ...] = ()


def measured(trikes: int) -> int:
    """Fill the database, time each kind of scope, show the plans."""
    from tests.scores import find_rows

    goals = Goals("bulletins: a match beside the bare query of an index, milliseconds, one client")
    begun = time.perf_counter()
    find_rows.without_indexes()
    _without_indexes()
    rows = find_rows.fill(trikes)
    _fill_keys()
    _build_indexes()
    goals.say(
        f"{rows['component']:,} components on {trikes:,} trikes, with their keys: {time.perf_counter() - begun:.0f} s"
    )
    for case in cases(trikes):
        judge(goals, case)
    for case in cases(trikes):
        show_plan(goals, case)
    return goals.ended()


def cases(trikes: int) -> list[Case]:
    """What bulletins name: one long range, twenty short ones, batches, making days, firmware, and all of it at once."""
    from services.bulletins import Scope, order_key

    def middle(pattern: str, part: float) -> str:
        number = int(trikes * part)
        return pattern.format(yy=f"{16 + number * 10 // (trikes + 1):02d}", n=number)

    hinge, chain = "BR/{yy}/{n}", "K{yy}{n:06d}"
    long_range = (middle(chain, 0.42), middle(chain, 0.44))
    short = tuple((middle(chain, 0.02 * k), middle(chain, 0.02 * k + 0.002)) for k in range(1, 21))
    ends = [order_key(text) for pair in short for text in pair]
    any_range = " OR ".join(["serial_key BETWEEN %s AND %s"] * len(short))
    batches = frozenset({f"B-2021-BATTERY{k}" for k in range(10)})
    quarter = (date(2020, 4, 1), date(2020, 6, 30))
    firmware = frozenset({"T3", "T4"})
    types = _types()
    asked = {kind: [types[kind]] for kind in types}
    one = Scope(frozenset({"LF-chain"}), serials=(long_range,))
    many = Scope(frozenset({"LF-chain"}), serials=short)
    return [
        Case("one range of serials", one, "serial_key BETWEEN %s AND %s", [*asked["chain"], *map(order_key, long_range)]),
        Case("twenty ranges", many, f"({any_range})", [*asked["chain"], *ends]),
        Case("ten batches", Scope(frozenset({"LF-battery"}), batches=batches), "batch_key = ANY(%s)",
             [*asked["battery"], sorted(batches)]),
        Case("a quarter of making days", Scope(frozenset({"LF-air_shock"}), made_from=quarter[0], made_until=quarter[1]),
             "made_on BETWEEN %s AND %s", [*asked["air_shock"], *quarter]),
        Case("two versions of firmware", Scope(frozenset({"LF-motor"}), firmware=firmware), "firmware_key = ANY(%s)",
             [*asked["motor"], sorted(firmware)]),
        Case("making days and firmware at once",
             Scope(frozenset({"LF-motor"}), made_from=date(2019, 1, 1), made_until=date(2021, 12, 31), firmware=firmware),
             "made_on BETWEEN %s AND %s AND firmware_key = ANY(%s)",
             [*asked["motor"], date(2019, 1, 1), date(2021, 12, 31), sorted(firmware)],
             "made_on BETWEEN %s AND %s AND firmware_key IS NULL", (date(2019, 1, 1), date(2021, 12, 31))),
        Case("a range as long as a year", Scope(frozenset({"LF-brake"}), serials=((hinge.format(yy="20", n=1),
             hinge.format(yy="20", n=trikes)),)), "serial_key BETWEEN %s AND %s",
             [*asked["brake"], order_key(hinge.format(yy="20", n=1)), order_key(hinge.format(yy="20", n=trikes))]),
    ]  # fmt: skip


def judge(goals: Goals, case: Case) -> None:
    """Time both in turn; tell how many were found, and what counting and the first page cost."""
    from django.db import connection

    from tracker.queries.bulletins import count_matches, matching, preview

    sql = "SELECT id, batch FROM tracker_component WHERE part_type_id = %s AND "
    unknown = case.unknown or f"{case.where.lstrip('(').split()[0]} IS NULL"

    def bare() -> list[tuple]:
        with connection.cursor() as cursor:
            cursor.execute(f"{sql}{case.where} ORDER BY id", case.values)
            named = cursor.fetchall()
            cursor.execute(f"{sql}{unknown} ORDER BY id", [case.values[0], *case.unknown_values])
            unsure.append(len(cursor.fetchall()))
            return named

    def match() -> list[tuple]:
        return list(matching(case.scope).values_list("pk", "certainty"))

    unsure: list[int] = []
    found, sure = match(), bare()
    assert len(found) == len(sure) + unsure[0], case.name
    assert {pk for pk, certainty in found if certainty == "affected"} == {pk for pk, _ in sure}, case.name
    bare_ms, match_ms = in_turn(bare, match)
    goals.say(f"{case.name}: {len(sure):,} affected, {len(found) - len(sure):,} cannot be excluded")
    figure = f"  match / bare query ({match_ms:.1f} ms / {bare_ms:.1f} ms)"
    if len(sure) < ENOUGH:
        goals.say(f"{figure}: {match_ms / bare_ms:.1f}")
    else:
        goals.at_most(figure, match_ms / bare_ms, GOAL, 2)
    for words, ask in (("counted, with owners", count_matches), ("preview with places", preview)):
        begun = time.perf_counter()
        ask(case.scope)
        goals.say(f"  {words}: {1000 * (time.perf_counter() - begun):.0f} ms")


def in_turn(*asked: Callable[[], Any]) -> list[float]:
    """Median milliseconds of each, asked one after the other, again and again."""
    spent: list[list[float]] = [[] for _ in asked]
    for _ in range(ROUNDS):
        for place, ask in enumerate(asked):
            begun = time.perf_counter()
            ask()
            spent[place].append(1000 * (time.perf_counter() - begun))
    return [float(np.median(some)) for some in spent]


def show_plan(goals: Goals, case: Case) -> None:
    """Print what PostgreSQL does for the match."""
    from django.db import connection

    from tracker.queries.bulletins import matching

    goals.say(f"\nplan: {case.name}")
    rows = matching(case.scope).values_list("pk", "certainty")
    for line in rows.explain(analyze=True, costs=False, timing=False).splitlines():
        goals.say(f"  {line[:150]}")
    assert connection.vendor == "postgresql"


# The rows


def _types() -> dict[str, int]:
    from tracker.models import PartType

    return dict(PartType.objects.values_list("kind", "pk"))


def _without_indexes() -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        for name in _migration().INDEXES:
            cursor.execute(f"DROP INDEX IF EXISTS {name}")


def _build_indexes() -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        for name, column in _migration().INDEXES.items():
            cursor.execute(f"CREATE INDEX {name} ON tracker_component (part_type_id, {column})")
        cursor.execute("VACUUM ANALYZE")


def _migration():
    return importlib.import_module("tracker.migrations.0013_component_keys_filled")


def _fill_keys() -> None:
    """Give motors a firmware, leave it open of one in fifty, forget one batch in five hundred; then the keys of all."""
    from django.db import connection

    from services.bulletins import fold_mark, order_key
    from tracker.models import Component

    rows = Component.objects.order_by("pk").values_list("pk", "serial", "batch", "part_type__kind")
    last = 0
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMP TABLE key (id bigint, serial_key text, batch text, firmware text)")
        while some := list(rows.filter(pk__gt=last)[:100_000]):
            last = some[-1][0]
            with cursor.copy("COPY key FROM STDIN") as copy:
                for pk, serial, batch, kind in some:
                    number = pk // PER_TRIKE
                    firmware = f"t{number % 20}" if kind == "motor" and number % 50 else ""
                    copy.write_row((pk, order_key(serial), "" if pk % 500 == 0 else batch, firmware))
        cursor.execute("CREATE INDEX ON key (id)")
        cursor.execute(
            "UPDATE tracker_component c SET serial_key = k.serial_key, batch = k.batch, firmware = k.firmware,"
            " batch_key = NULLIF(upper(k.batch), ''), firmware_key = NULLIF(upper(k.firmware), '') FROM key k WHERE k.id = c.id"
        )
    for row in Component.objects.order_by("?")[:20]:
        assert (row.serial_key, row.batch_key or "") == (order_key(row.serial), fold_mark(row.batch))
