"""Indexes for the one search field on PostgreSQL: parts of serials, plates, numbers, names and phones by trigrams.

Beginnings need none: every unique or indexed text has Django's own pattern index already. SQLite, which keeps one
workshop, reads its small tables. Built concurrently, so that nobody waits while it happens; `fastupdate` is off, so that
no search pays for the writes before it. No table changes.
"""

from django.db import migrations

INDEXES = {
    "find_component_serial": "tracker_component USING gin (serial gin_trgm_ops) WITH (fastupdate = off)",
    "find_component_batch": "tracker_component (upper(batch::text))",
    "find_trike_frame_serial": "tracker_trike USING gin (frame_serial gin_trgm_ops) WITH (fastupdate = off)",
    "find_trike_plate": "tracker_trike USING gin (plate gin_trgm_ops) WITH (fastupdate = off)",
    "find_trike_model": "tracker_trike USING gin (upper(model::text) gin_trgm_ops) WITH (fastupdate = off)",
    "find_owner_name": "tracker_owner USING gin (search_name gin_trgm_ops) WITH (fastupdate = off)",
    "find_owner_phone": "tracker_owner USING gin (phone_e164 gin_trgm_ops) WITH (fastupdate = off)",
    "find_job_number": "tracker_jobcard USING gin (number gin_trgm_ops) WITH (fastupdate = off)",
}
COUNTED = ("tracker_component", "tracker_trike")  # an index on an expression has no figures for the planner before this


def build(apps, editor):
    connection = editor.connection
    if connection.vendor != "postgresql":
        return
    aside = "" if connection.in_atomic_block else "CONCURRENTLY"
    with connection.cursor() as cursor:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
        for name, what in INDEXES.items():
            cursor.execute(f"DROP INDEX {aside} IF EXISTS {name}")  # an interrupted build leaves an invalid one behind
            cursor.execute(f"CREATE INDEX {aside} {name} ON {what}")
        for table in COUNTED:
            cursor.execute(f"ANALYZE {table}")


def tear_down(apps, editor):
    """The extension stays: something else may use it by now."""
    connection = editor.connection
    if connection.vendor != "postgresql":
        return
    aside = "" if connection.in_atomic_block else "CONCURRENTLY"
    with connection.cursor() as cursor:
        for name in INDEXES:
            cursor.execute(f"DROP INDEX {aside} IF EXISTS {name}")


class Migration(migrations.Migration):

    atomic = False  # an index cannot be built concurrently inside a transaction

    dependencies = [("tracker", "0005_desk_and_bench")]

    operations = [migrations.RunPython(build, tear_down)]
