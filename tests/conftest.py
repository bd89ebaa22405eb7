"""What every test may use."""

from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test import TransactionTestCase
from django.test.utils import CaptureQueriesContext

from tracker.models import guards

_empty_the_tables = TransactionTestCase._fixture_teardown


def _empty_guarded_tables(case: TransactionTestCase) -> None:
    """Empty the tables after a transactional test: SQLite does it by DELETE, which the guards rightly refuse."""
    guarded = connection.vendor == "sqlite" and _guards_stand()
    if guarded:
        guards.take_down(connection)
    try:
        _empty_the_tables(case)
    finally:
        if guarded:
            guards.put_up(connection)


def _guards_stand() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'guard_%'")
        return bool(cursor.fetchone()[0])


TransactionTestCase._fixture_teardown = _empty_guarded_tables


@pytest.fixture
def now() -> datetime:
    """The standing clock."""
    return datetime(2026, 5, 1, 10, 0, tzinfo=UTC)


@pytest.fixture
def assert_flat_queries():
    """Return a check that `fetch` costs the same queries after `grow` has added rows."""

    def check(fetch, grow) -> None:
        fetch()  # warms caches
        with CaptureQueriesContext(connection) as few:
            fetch()
        grow()
        with CaptureQueriesContext(connection) as many:
            fetch()
        sql = "\n".join(query["sql"][:200] for query in many.captured_queries)
        assert len(many) == len(few), f"{len(few)} queries became {len(many)}:\n{sql}"

    return check
