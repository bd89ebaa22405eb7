"""SQLite as this service needs it.

- It is asked how many values a statement may carry, as Django 6.0 does; Django 5.2 says 999 and splits there.
- What its connections must be set to is read back: a file system that takes no WAL, or another build, is refused.
- Rows that REPLACE takes out of the way count as deleted: the guards (tracker/models/guards.py) see them.
"""

import sqlite3
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db.backends.sqlite3 import base, features
from django.utils.functional import cached_property

# Pragma -> what it must read back as; a database in memory has a journal of its own kind.
WANTED = {
    "journal_mode": {"wal", "memory"},
    "synchronous": {1, 2},  # NORMAL: enough with WAL
    "foreign_keys": {1},
    "recursive_triggers": {1},
}
SHORTEST_WAIT = 20_000  # milliseconds a writer waits for the others


class DatabaseFeatures(features.DatabaseFeatures):
    """What this SQLite can do."""

    @cached_property
    def max_query_params(self) -> int:
        """Values a statement may carry: 32,766 since SQLite 3.32 (sqlite.org/limits.html no. 9), 250,000 as Debian builds it."""
        self.connection.ensure_connection()
        return self.connection.connection.getlimit(sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER)


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's SQLite with these features."""

    features_class = DatabaseFeatures

    def get_new_connection(self, conn_params: dict[str, Any]) -> sqlite3.Connection:
        """Open a connection on which REPLACE fires delete triggers: it does so only with this set (sqlite.org/lang_conflict)."""
        connection = super().get_new_connection(conn_params)
        connection.execute("PRAGMA recursive_triggers = ON")
        check_pragmas(connection)
        return connection


def check_pragmas(connection: sqlite3.Connection) -> None:
    """Read back what a connection is set to. Raises ImproperlyConfigured where it is not what the record needs."""
    for name, wanted in WANTED.items():
        found = connection.execute(f"PRAGMA {name}").fetchone()[0]
        if found not in wanted:
            raise ImproperlyConfigured(
                f"SQLite's {name} is {found}; it must be {' or '.join(map(str, sorted(wanted)))}."
            )
    waits = connection.execute("PRAGMA busy_timeout").fetchone()[0]
    if waits < SHORTEST_WAIT:
        raise ImproperlyConfigured(f"SQLite waits {waits} ms for other writers; it must be {SHORTEST_WAIT} or more.")
