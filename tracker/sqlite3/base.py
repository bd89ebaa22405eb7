"""SQLite as this service needs it.

- It is asked how many values a statement may carry, as Django 6.0 does; Django 5.2 says 999 and splits there.
- Rows that REPLACE takes out of the way count as deleted: the guards (tracker/models/guards.py) see them.
"""

import sqlite3
from typing import Any

from django.db.backends.sqlite3 import base, features
from django.utils.functional import cached_property


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
        return connection
