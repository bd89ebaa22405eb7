"""The search asks indexes, on both databases: told by their own plans of the queries that a search really makes."""

import importlib
import re
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tracker.models import Component
from tracker.queries.first_hits import beginning_with
from tracker.queries.search import find

pytestmark = pytest.mark.django_db
ON_POSTGRESQL = connection.vendor == "postgresql"
# What is typed, the table that is asked, and on PostgreSQL the index that answers for a part of a text.
PARTS = [
    ("k240", "tracker_component", "find_component_serial"),
    ("26-1", "tracker_trike", "find_trike_frame_serial"),
    ("310", "tracker_trike", "find_trike_plate"),
    ("fenrun", "tracker_trike", "find_trike_model"),
    ("angstr", "tracker_owner", "find_owner_name"),
    ("0312", "tracker_owner", "find_owner_phone"),
    ("00042", "tracker_jobcard", "find_job_number"),
    ("B-2025", "tracker_component", "find_component_batch"),
]


def plans_of(text: str, table: str, *forbidden: str) -> str:
    """The plans of the queries that look for `text` in `table`. Small tables are read whole unless that is forbidden."""
    with CaptureQueriesContext(connection) as asked:
        find(text)
    told = []
    with connection.cursor() as cursor:
        if ON_POSTGRESQL:
            for way in ("seqscan", *forbidden):
                cursor.execute(f"SET LOCAL enable_{way} = off")
        for query in asked.captured_queries:
            if f'FROM "{table}" WHERE' in query["sql"]:
                cursor.execute(("EXPLAIN " if ON_POSTGRESQL else "EXPLAIN QUERY PLAN ") + query["sql"])
                told += [str(line[-1]) for line in cursor.fetchall()]
    return "\n".join(told)


@pytest.mark.parametrize(("text", "table", "index"), PARTS)
def test_an_index_answers(workshop, text, table, index):
    plans = plans_of(text, table)
    if ON_POSTGRESQL:
        assert index in plans
        assert "Seq Scan" not in plans
    else:  # a workshop's small tables are read for what lies inside a text; what begins with it is looked up
        assert re.search(rf"SEARCH {table} USING (COVERING )?INDEX", plans)


def test_a_whole_serial_is_looked_up_and_not_sorted(workshop):
    plans = plans_of("K24000", "tracker_component", "bitmapscan", "sort")  # cheap on ten rows, not on a million
    if ON_POSTGRESQL:
        assert re.search(r"Index Scan using tracker_component_serial_\w+_like", plans)
        assert "Sort" not in plans
    else:
        assert re.search(r"SEARCH tracker_component USING COVERING INDEX \w+ \(serial>\? AND serial<\?\)", plans)
        assert "TEMP B-TREE" not in plans


def test_the_exact_text_is_the_first_of_what_begins_with_it(db):
    for serial in ("K2-9", "K20", "K2", "K2A", "K1"):
        Component.objects.create(part_type=_chain(), serial=serial)
    found = beginning_with(Component.objects.all(), "serial", "K2").values_list("serial", flat=True)
    assert list(found) == ["K2", "K2-9", "K20", "K2A"]


def test_the_indexes_come_down_and_go_up_again(db):
    migration = importlib.import_module("tracker.migrations.0006_find")
    editor = SimpleNamespace(connection=connection)
    wanted = set(migration.INDEXES) if ON_POSTGRESQL else set()
    assert _indexes() & set(migration.INDEXES) == wanted
    migration.tear_down(None, editor)
    assert _indexes() & set(migration.INDEXES) == set()
    migration.build(None, editor)
    assert _indexes() & set(migration.INDEXES) == wanted


def _indexes() -> set[str]:
    table = "pg_indexes" if ON_POSTGRESQL else "sqlite_master"
    name = "indexname" if ON_POSTGRESQL else "name"
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {name} FROM {table}")
        return {row[0] for row in cursor.fetchall()}


def _chain():
    from tests.factories import PartTypeFactory
    from tracker.models import PartType

    return PartType.objects.filter(kind="chain").first() or PartTypeFactory()
