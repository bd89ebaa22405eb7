"""What every test may use."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import TransactionTestCase
from django.test.utils import CaptureQueriesContext

from tracker.models import guards

# Files with a long test, longest first (seconds on two cores: 46 ... 6). They begin first, so that at the end of a run no
# worker waits for one that has just begun such a file.
LONG_FILES = (
    "commands/test_demo.py", "api/test_story.py", "tasks/test_twice.py", "bulletins/test_many_owners.py",
    "imports/test_whole_workshop.py", "actions/test_many_writers.py", "api/test_roles.py", "pages/test_papers.py",
    "tasks/test_at_once.py", "bulletins/test_at_once.py", "rides/test_doors.py", "actions/test_due_property.py",
    "reminders/test_questions.py", "reminders/test_webhook.py", "review/test_reckoning.py",
    "actions/test_release_at_once.py", "imports/test_at_once.py",
)  # fmt: skip

_empty_the_tables = TransactionTestCase._fixture_teardown


def _empty_guarded_tables(case: TransactionTestCase) -> None:
    """Empty the tables after a transactional test, by DELETE or by TRUNCATE: the guards rightly refuse both."""
    guarded = _guards_stand()
    away, back = (
        (guards.take_down, guards.put_up)
        if connection.vendor == "sqlite"
        else (guards.let_tables_be_emptied, guards.refuse_emptied_tables)
    )
    if guarded:
        away(connection)
    try:
        _empty_the_tables(case)
    finally:
        if guarded:
            back(connection)


def _guards_stand() -> bool:
    if connection.vendor != "sqlite":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'guard_%'")
        return bool(cursor.fetchone()[0])


TransactionTestCase._fixture_teardown = _empty_guarded_tables


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files with long tests first, all others in the order they have."""
    places = {Path(__file__).parent / name: place for place, name in enumerate(LONG_FILES)}
    items.sort(key=lambda item: places.get(item.path, len(places)))


@pytest.fixture(autouse=True)
def _nothing_counted_before():
    """Throttles count in the cache, which a process keeps from test to test: under a standing clock they would add up."""
    cache.clear()


@pytest.fixture
def now() -> datetime:
    """The standing clock."""
    return datetime(2026, 5, 1, 10, 0, tzinfo=UTC)


@pytest.fixture
def photo_folder(settings, tmp_path) -> Path:
    """A photo folder of the test's own, not made yet."""
    settings.PHOTO_FOLDER = tmp_path / "photos"
    return settings.PHOTO_FOLDER


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
