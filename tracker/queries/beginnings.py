"""Texts that begin with what was typed, in the order of the index, so that the first few are found without reading the rest."""

from typing import Any

from django.db.models import F, OrderBy, QuerySet
from django.db.models.lookups import StartsWith

_LAST = "\U0010ffff"  # no text that begins with x stands after x followed by this


class Begins(StartsWith):
    """`field` begins with the text. PostgreSQL: LIKE, on the pattern index; SQLite: a range, on the plain one."""

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        """A LIKE with an ESCAPE, which Django writes, uses no index on SQLite (sqlite.org/optoverview.html no. 5)."""
        sql, values = self.process_lhs(compiler, connection)
        return f"({sql} >= %s AND {sql} < %s)", [*values, self.rhs, *values, f"{self.rhs}{_LAST}"]


class ByteOrder(OrderBy):
    """The order of bytes: PostgreSQL's pattern index stands in it whatever the database's language; SQLite always does."""

    def as_postgresql(self, compiler: Any, connection: Any) -> tuple[str, Any]:
        """`~<~` is the less-than of the pattern index (PostgreSQL manual 11.10). Django wants to read a direction behind it."""
        return self.as_sql(compiler, connection, template="%(expression)s USING ~<~ /* ASC */")


def beginning_with(rows: QuerySet, field: str, text: str) -> QuerySet:
    """Return the rows whose `field` begins with `text`: the exact one first, then in the order of bytes."""
    return rows.filter(Begins(F(field), text)).order_by(ByteOrder(F(field)))
