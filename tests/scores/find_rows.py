"""A big workshop's record, written by the database itself: trikes, components, owners, past fittings, job cards.

Rows stand in the order of the years, as they would after years of work, so that the newest lie together at the end of
their tables. All names are made of syllables; nobody is meant.
"""

import importlib
import random
import time
from itertools import product

from django.contrib.auth.hashers import make_password
from django.db import connection

from services.identity import fold_name

_FIRST = ("Ada Bél Çe Dó El Fré Gi Hö Íl Jo Kál Lu Mä Né Ol Pía Ré Sø Ty Zoë", "la rin mas ne vik tha")
_LAST = (
    "Ang Bram Cres Dun Ell Fen Grön Hart Isk Jór Kest Lind Mør Nor Ost Pell Quar Råd Sten Thorn",
    "a e i o u ä",
    "wick berg mann ster dahl son ley mont ński court",
)
FIRST = ["".join(parts) for parts in product(*(syllables.split() for syllables in _FIRST))]
LAST = ["".join(parts) for parts in product(*(syllables.split() for syllables in _LAST))]
# Position, kind, the pattern of its serial: makers number by year and piece, or by something nobody can read.
PARTS = (
    ("frame", "frame", "'F' || yy || '-' || lpad(n::text, 6, '0')"),
    ("boom-motor", "motor", "'MT' || upper(substr(md5('m' || n), 1, 10))"),
    ("battery", "battery", "'BA-' || yy || '-' || lpad(((n * 7919) % 1000000)::text, 6, '0')"),
    ("display", "display", "'DP' || lpad(n::text, 8, '0')"),
    ("rear-hub", "hub_geared", "'H' || upper(substr(md5('h' || n), 1, 8))"),
    ("chain", "chain", "'K' || yy || lpad(n::text, 6, '0')"),
    ("rear-shock", "air_shock", "'S' || yy || lpad(((n * 104729) % 1000000)::text, 6, '0')"),
    ("elastomer-left", "elastomer", "'EL-' || lpad((2 * n)::text, 7, '0')"),
    ("elastomer-right", "elastomer", "'EL-' || lpad((2 * n + 1)::text, 7, '0')"),
    ("brake-left", "brake", "'BR/' || yy || '/' || (2 * n)::text"),
    ("brake-right", "brake", "'BR/' || yy || '/' || (2 * n + 1)::text"),
)  # fmt: skip
OLD_CHAIN = "'K' || lpad((yy::int - 1)::text, 2, '0') || 'A' || lpad(n::text, 6, '0')"
STATEMENTS = (
    # What the search never asks is left out while the rows go in: checking half a million spans costs minutes.
    "ALTER TABLE tracker_fitment DROP CONSTRAINT component_in_one_place_ever, DROP CONSTRAINT position_holds_one_component_ever",
    "INSERT INTO tracker_parttype (kind, part_number, maker, name, rated, version)"
    " SELECT kind, 'LF-' || kind, 'Hazelwick Parts', initcap(replace(kind, '_', ' ')), '{{}}', 1"
    " FROM unnest(ARRAY[{kinds}]) kind",
    "CREATE TEMP TABLE year AS SELECT n, lpad((16 + n * 10 / ({trikes} + 1))::text, 2, '0') AS yy,"
    " timestamptz '2016-02-01 09:00Z' + n * interval '10 years' / {trikes} AS built FROM generate_series(1::bigint, {trikes}) n",
    "INSERT INTO tracker_trike (frame_serial, plate, model, state, delivered_on, odometer_zero_km, stolen_on, stolen_note,"
    " retired_on, retired_reason, severity, due_dirty, version)"
    " SELECT 'F' || yy || '-' || lpad(n::text, 6, '0'), 'LT-' || lpad(((n * 611953) % 1000000)::text, 6, '0'),"
    " (ARRAY['Fenrunner', 'Fenrunner Long', 'Marshwind', 'Weirdale', 'Heathcote'])[1 + (n % 5)::int],"
    " CASE WHEN n % 60 = 0 THEN 'retired' ELSE 'delivered' END, built::date, 0,"
    " CASE WHEN n % 500 = 7 THEN date '2026-03-03' END, '', CASE WHEN n % 60 = 0 THEN date '2026-02-01' END, '', 1, false, 1"
    " FROM year ORDER BY n",
    "INSERT INTO tracker_component (part_type_id, serial, serial_as_typed, batch, made_on, firmware, state, life_before_km,"
    " note, version) SELECT t.id, x.serial, x.serial, 'B-20' || yy || '-' || x.place || (n % 40), built::date, '', x.state, 0,"
    " '', 1 FROM year CROSS JOIN LATERAL (VALUES {serials}) x (place, kind, serial, state)"
    " JOIN tracker_parttype t ON t.kind = x.kind ORDER BY n, x.place",
    "CREATE INDEX for_filling ON tracker_component (id)",
    "INSERT INTO tracker_fitment (component_id, trike_id, position, fitted_at, removed_at, removal_reason, fate)"
    " SELECT c.id, t.id, x.place,"
    " CASE WHEN x.place = 'chain' AND x.state = 'fitted' THEN built + interval '99 days' ELSE built END,"
    " CASE WHEN x.state <> 'fitted' THEN built + interval '90 days' END, '', ''"
    " FROM year CROSS JOIN LATERAL (VALUES {serials}) x (place, kind, serial, state)"
    " JOIN tracker_component c ON c.serial = x.serial"
    " JOIN tracker_trike t ON t.frame_serial = 'F' || yy || '-' || lpad(n::text, 6, '0') ORDER BY n",
    # One battery in ten sat on another trike before.
    "INSERT INTO tracker_fitment (component_id, trike_id, position, fitted_at, removed_at, removal_reason, fate)"
    " SELECT f.component_id, f.trike_id - 1, 'battery', f.fitted_at - interval '9 days', f.fitted_at - interval '2 days', '', ''"
    " FROM tracker_fitment f WHERE f.position = 'battery' AND f.trike_id % 10 = 0 AND f.trike_id > 1",
    "INSERT INTO tracker_owner (name, search_name, email, phone, phone_e164, time_zone, distance_unit, pressure_unit,"
    " language, reminders_agreed, agreed_source, quiet_weekdays, version)"
    " SELECT a.name || ' ' || b.name, a.folded || ' ' || b.folded,"
    " 'rider' || n || '@example.org', '07' || p, '+447' || p, 'Europe/London', 'km', 'bar', 'en', true, '', '[]', 1"
    " FROM year CROSS JOIN LATERAL (SELECT lpad(((n * 472882027) % 1000000000)::text, 9, '0') AS p) phone"
    " JOIN first_name a ON a.id = (n * 48271 % 2147483647) % {firsts}"
    " JOIN last_name b ON b.id = (n * 69621 % 2147483647) % {lasts}"
    " ORDER BY n",
    "INSERT INTO tracker_ownership (trike_id, owner_id, since) SELECT t.id, o.id, t.delivered_on FROM"
    " (SELECT id, delivered_on, row_number() OVER (ORDER BY id) r FROM tracker_trike) t"
    " JOIN (SELECT id, row_number() OVER (ORDER BY id) r FROM tracker_owner) o ON o.r = t.r",
    "INSERT INTO tracker_jobcard (number, trike_id, state, opened_at, worked_at, complaint, cause, correction, minutes, summary,"
    " version) SELECT 'J' || yy || '-' || lpad((3 * n + k)::text, 6, '0'), t.id, 'draft', built, built, '', '', '', 0, '', 1"
    " FROM year CROSS JOIN generate_series(0, 2) k"
    " JOIN tracker_trike t ON t.frame_serial = 'F' || yy || '-' || lpad(n::text, 6, '0') ORDER BY n, k",
    "DROP INDEX for_filling",
)  # fmt: skip
TABLES = ("trike", "component", "fitment", "owner", "ownership", "jobcard")


def fill(trikes: int) -> dict[str, int]:
    """Write a record with so many trikes and twelve components each; return how many rows each table holds."""
    with connection.cursor() as cursor:
        _names(cursor, "first_name", FIRST)
        _names(cursor, "last_name", LAST)
        for statement in STATEMENTS:
            cursor.execute(statement.format(**_words(trikes)))
        rows = {}
        for table in TABLES:
            cursor.execute(f"SELECT count(*) FROM tracker_{table}")
            rows[table] = cursor.fetchone()[0]
    return rows


def without_indexes() -> None:
    """Take the search's indexes down, as before their migration."""
    with connection.schema_editor(atomic=False) as editor:
        _migration().tear_down(None, editor)


def build_indexes() -> float:
    """Build them as the migration does, beside a workshop that goes on working; return the seconds."""
    begun = time.perf_counter()
    with connection.schema_editor(atomic=False) as editor:
        _migration().build(None, editor)
    spent = time.perf_counter() - begun
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return spent


def _migration():
    return importlib.import_module("tracker.migrations.0006_find")


def add_a_person() -> None:
    """One person who may log in and search."""
    from tracker.models import User

    User.objects.create(username="desk", password=make_password(None), is_superuser=True)


def sampled(table: str, column: str, count: int, seed: int = 26) -> list[str]:
    """Return texts that stand in the record, from all its years."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT min(id), max(id) FROM tracker_{table}")
        low, high = cursor.fetchone()
        ids = random.Random(seed).sample(range(low, high + 1), min(count * 2, high - low))
        cursor.execute(
            f"SELECT {column} FROM tracker_{table} WHERE id = ANY(%s) AND {column} <> '' LIMIT %s", [ids, count]
        )
        texts = [text for (text,) in cursor.fetchall()]
    random.Random(seed).shuffle(texts)
    return texts


def _names(cursor, table: str, names: list[str]) -> None:
    cursor.execute(f"CREATE TEMP TABLE {table} (id int PRIMARY KEY, name text, folded text)")
    rows = [(number, name, fold_name(name)) for number, name in enumerate(names)]
    cursor.executemany(f"INSERT INTO {table} VALUES (%s, %s, %s)", rows)


def _words(trikes: int) -> dict[str, object]:
    serials = [f"('{place}', '{kind}', {serial}, 'fitted')" for place, kind, serial in PARTS]
    serials.append(f"('chain', 'chain', {OLD_CHAIN}, 'scrapped')")
    kinds = sorted({kind for _, kind, _ in PARTS})
    return {
        "trikes": trikes, "firsts": len(FIRST), "lasts": len(LAST), "serials": ", ".join(serials),
        "kinds": ", ".join(f"'{kind}'" for kind in kinds),
    }  # fmt: skip
