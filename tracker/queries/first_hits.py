"""The first few hits of a big table, found through its indexes without reading the rest."""

from typing import Any

from django.db import connections
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


def some_of(rows: QuerySet, limit: int) -> list[int]:
    """Return the ids of at most `limit` of the rows, whichever come first.

    Told of a limit, PostgreSQL hopes to meet enough hits early and reads the table from its front; where the hits are
    few, or the newest rows, it reads all of it. So it plans for all hits (a materialized WITH, its manual 7.8.3), and
    stops at the limit all the same.
    """
    rows = rows.order_by().values_list("pk", flat=True)
    connection = connections[rows.db]
    if connection.vendor != "postgresql":
        return list(rows[:limit])
    sql, values = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(f"WITH found AS MATERIALIZED ({sql}) SELECT * FROM found LIMIT %s", [*values, limit])
        return [key for (key,) in cursor.fetchall()]
