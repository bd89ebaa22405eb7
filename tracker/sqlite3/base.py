"""Asks the linked SQLite how many values a statement may carry, as Django 6.0 does; Django 5.2 says 999 and splits there."""

import sqlite3

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
