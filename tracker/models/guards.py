"""What the database itself refuses, beyond Django's constraints: the SQL of both databases, side by side.

- a component in two places, or a place with two components, over any stretch of the past (PostgreSQL: exclusion
  constraints; SQLite: triggers);
- any change to a logbook entry, a completion or what is kept of a changed interval, to a signed job card with all that
  hangs on it, and to a handover that bears both signatures; also that something is moved onto one of these, and on
  PostgreSQL that their tables are emptied by TRUNCATE. SQLite's REPLACE deletes silently unless triggers may call
  triggers: tracker/sqlite3/base.py asks for that;
- any change to a step under a bulletin and to what was released of one (guards_bulletins.py).
"""

from collections.abc import Iterable

from django.db.backends.base.base import BaseDatabaseWrapper

from tracker.models import guards_bulletins

APPEND_ONLY = ("tracker_logentry", "tracker_completion")
INTERVAL_TABLES = ("tracker_intervalchange",)  # append-only too, since migration 0017
FIRST_CARD_CHILDREN = ("tracker_jobtask", "tracker_measurement", "tracker_swap", "tracker_failure")
LATER_CARD_CHILDREN = ("tracker_photo", "tracker_releasecheck")  # since migration 0005
CARD_CHILDREN = FIRST_CARD_CHILDREN + LATER_CARD_CHILDREN
HANDOVER_TABLES = ("tracker_handover", "tracker_handovercheck")
EMPTIED = "what was signed or logged is kept: its table cannot be emptied"
HANDED_OVER = "a handover with both signatures cannot be changed"
SIGNED = "a signed job card cannot be changed: write an amendment"
KEPT = "the logbook is append-only: write an amendment"

_OVERLAP = """
  SELECT RAISE(ABORT, '{message}') WHERE EXISTS (
    SELECT 1 FROM tracker_fitment f WHERE f.id IS NOT NEW.id AND {same}
      AND f.fitted_at < COALESCE(NEW.removed_at, '9999') AND NEW.fitted_at < COALESCE(f.removed_at, '9999'));
"""
_SAME_COMPONENT = _OVERLAP.format(message="component_in_one_place_at_a_time", same="f.component_id = NEW.component_id")
_SAME_PLACE = _OVERLAP.format(
    message="position_holds_one_component_at_a_time", same="f.trike_id = NEW.trike_id AND f.position = NEW.position"
)


def _sqlite_first() -> list[str]:
    statements = [
        f"CREATE TRIGGER guard_fitment_{when} BEFORE {when.upper()} ON tracker_fitment "
        f"BEGIN {_SAME_COMPONENT} {_SAME_PLACE} END"
        for when in ("insert", "update")
    ]
    statements += _sqlite_kept(APPEND_ONLY)
    statements += [
        f"CREATE TRIGGER guard_tracker_jobcard_{when} BEFORE {when.upper()} ON tracker_jobcard "
        f"WHEN OLD.state = 'signed' BEGIN SELECT RAISE(ABORT, '{SIGNED}'); END"
        for when in ("update", "delete")
    ]
    return statements + _sqlite_card_children(FIRST_CARD_CHILDREN)


def _sqlite_kept(tables: Iterable[str]) -> list[str]:
    return [
        f"CREATE TRIGGER guard_{table}_{when} BEFORE {when.upper()} ON {table} BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
        for table in tables
        for when in ("update", "delete")
    ]


def _sqlite_card_children(tables: tuple[str, ...]) -> list[str]:
    return [
        f"CREATE TRIGGER guard_{table}_{when} BEFORE {when.upper()} ON {table} "
        f"WHEN (SELECT state FROM tracker_jobcard WHERE id = {row}.card_id) = 'signed' "
        f"BEGIN SELECT RAISE(ABORT, '{SIGNED}'); END"
        for table in tables
        for when, row in (("insert", "NEW"), ("update", "OLD"), ("delete", "OLD"))
    ]


def _sqlite_later() -> list[str]:
    statements = _sqlite_card_children(LATER_CARD_CHILDREN)
    for when in ("update", "delete"):
        statements.append(
            f"CREATE TRIGGER guard_tracker_handover_{when} BEFORE {when.upper()} ON tracker_handover "
            f"WHEN OLD.second_signed_at IS NOT NULL BEGIN SELECT RAISE(ABORT, '{HANDED_OVER}'); END"
        )
    for when, row in (("insert", "NEW"), ("update", "OLD"), ("delete", "OLD")):
        statements.append(
            f"CREATE TRIGGER guard_tracker_handovercheck_{when} BEFORE {when.upper()} ON tracker_handovercheck "
            f"WHEN (SELECT second_signed_at FROM tracker_handover WHERE id = {row}.handover_id) IS NOT NULL "
            f"BEGIN SELECT RAISE(ABORT, '{HANDED_OVER}'); END"
        )
    return statements


def _sqlite_tighter() -> list[str]:
    """A row that changes is looked at as it was and as it will be: nothing is moved onto a signed card or handover."""
    tables = [(table, "card_id", "tracker_jobcard", "state = 'signed'", SIGNED) for table in CARD_CHILDREN]
    tables.append(
        ("tracker_handovercheck", "handover_id", "tracker_handover", "second_signed_at IS NOT NULL", HANDED_OVER)
    )
    statements = []
    for table, column, parent, fixed, words in tables:
        statements += [
            f"DROP TRIGGER IF EXISTS guard_{table}_update",
            f"CREATE TRIGGER guard_{table}_update BEFORE UPDATE ON {table} WHEN EXISTS (SELECT 1 FROM {parent} "
            f"WHERE id IN (OLD.{column}, NEW.{column}) AND {fixed}) BEGIN SELECT RAISE(ABORT, '{words}'); END",
        ]
    return statements


def _sqlite_down() -> list[str]:
    changed = (*APPEND_ONLY, "tracker_jobcard", "tracker_handover")
    names = [f"guard_fitment_{when}" for when in ("insert", "update")]
    names += [f"guard_{table}_{when}" for table in changed for when in ("update", "delete")]
    children = (*CARD_CHILDREN, "tracker_handovercheck")
    names += [f"guard_{table}_{when}" for table in children for when in ("insert", "update", "delete")]
    return [f"DROP TRIGGER IF EXISTS {name}" for name in names]


def _postgresql_first() -> list[str]:
    span = "tstzrange(fitted_at, removed_at, '[)') WITH &&"
    statements = [
        "CREATE EXTENSION IF NOT EXISTS btree_gist",
        "ALTER TABLE tracker_fitment ADD CONSTRAINT component_in_one_place_ever "
        f"EXCLUDE USING gist (component_id WITH =, {span})",
        "ALTER TABLE tracker_fitment ADD CONSTRAINT position_holds_one_component_ever "
        f"EXCLUDE USING gist (trike_id WITH =, position WITH =, {span})",
        f"CREATE FUNCTION guard_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION '{KEPT}' "
        "USING ERRCODE = 'integrity_constraint_violation'; END $$",
        "CREATE FUNCTION guard_signed_card() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF OLD.state = 'signed' THEN "
        f"RAISE EXCEPTION '{SIGNED}' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
        "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$",
        "CREATE FUNCTION guard_signed_part() RETURNS trigger LANGUAGE plpgsql AS $$ DECLARE card bigint; BEGIN "
        "IF TG_OP = 'INSERT' THEN card := NEW.card_id; ELSE card := OLD.card_id; END IF; "
        "IF (SELECT state FROM tracker_jobcard WHERE id = card) = 'signed' THEN "
        f"RAISE EXCEPTION '{SIGNED}' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
        "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$",
        "CREATE TRIGGER guard_tracker_jobcard BEFORE UPDATE OR DELETE ON tracker_jobcard "
        "FOR EACH ROW EXECUTE FUNCTION guard_signed_card()",
    ]
    statements += [
        f"CREATE TRIGGER guard_{table} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_kept()"
        for table in APPEND_ONLY
    ]
    return statements + _postgresql_card_children(FIRST_CARD_CHILDREN)


def _postgresql_card_children(tables: tuple[str, ...]) -> list[str]:
    return [
        f"CREATE TRIGGER guard_{table} BEFORE INSERT OR UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION guard_signed_part()"
        for table in tables
    ]


def _postgresql_later() -> list[str]:
    refuse = f"RAISE EXCEPTION '{HANDED_OVER}' USING ERRCODE = 'integrity_constraint_violation'"
    return [
        *_postgresql_card_children(LATER_CARD_CHILDREN),
        "CREATE FUNCTION guard_handover() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF OLD.second_signed_at IS NOT NULL THEN {refuse}; END IF; "
        "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$",
        "CREATE FUNCTION guard_handover_check() RETURNS trigger LANGUAGE plpgsql AS $$ DECLARE sheet bigint; BEGIN "
        "IF TG_OP = 'INSERT' THEN sheet := NEW.handover_id; ELSE sheet := OLD.handover_id; END IF; "
        f"IF (SELECT second_signed_at FROM tracker_handover WHERE id = sheet) IS NOT NULL THEN {refuse}; END IF; "
        "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$",
        "CREATE TRIGGER guard_tracker_handover BEFORE UPDATE OR DELETE ON tracker_handover "
        "FOR EACH ROW EXECUTE FUNCTION guard_handover()",
        "CREATE TRIGGER guard_tracker_handovercheck BEFORE INSERT OR UPDATE OR DELETE ON tracker_handovercheck "
        "FOR EACH ROW EXECUTE FUNCTION guard_handover_check()",
    ]


def _postgresql_tighter() -> list[str]:
    """The same there, and TRUNCATE, which no row trigger sees."""
    return [
        _postgresql_part("guard_signed_part", "card_id", "tracker_jobcard", "state = 'signed'", SIGNED),
        _postgresql_part(
            "guard_handover_check", "handover_id", "tracker_handover", "second_signed_at IS NOT NULL", HANDED_OVER
        ),
        *_postgresql_truncate(),
    ]


def _postgresql_part(function: str, column: str, parent: str, fixed: str, words: str) -> str:
    """The function that refuses to change a part of what is signed, to put one there and to take one away."""
    return (
        f"CREATE OR REPLACE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ DECLARE ids bigint[]; BEGIN "
        f"IF TG_OP <> 'INSERT' THEN ids := ids || OLD.{column}; END IF; "
        f"IF TG_OP <> 'DELETE' THEN ids := ids || NEW.{column}; END IF; "
        f"IF EXISTS (SELECT 1 FROM {parent} WHERE id = ANY(ids) AND {fixed}) THEN "
        f"RAISE EXCEPTION '{words}' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
        "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$"
    )


def _guarded() -> tuple[str, ...]:
    return (*APPEND_ONLY, "tracker_jobcard", *CARD_CHILDREN, *HANDOVER_TABLES)


def _postgresql_truncate(tables: Iterable[str] = ()) -> list[str]:
    return [
        f"CREATE OR REPLACE FUNCTION guard_emptied() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION "
        f"'{EMPTIED}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
        *(
            f"CREATE TRIGGER guard_{table}_emptied BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_emptied()"
            for table in tables or _guarded()
        ),
    ]


def _postgresql_truncate_down() -> list[str]:
    return [
        *(
            f"DROP TRIGGER IF EXISTS guard_{table}_emptied ON {table}"
            for table in (*_guarded(), *guards_bulletins.TABLES, *INTERVAL_TABLES, *guards_bulletins.TEXTS)
        ),
        "DROP FUNCTION IF EXISTS guard_emptied()",
    ]


def _postgresql_later_down() -> list[str]:
    guarded = (*LATER_CARD_CHILDREN, "tracker_handover", "tracker_handovercheck")
    return [
        *(f"DROP TRIGGER IF EXISTS guard_{table} ON {table}" for table in guarded),
        *(f"DROP FUNCTION IF EXISTS {name}()" for name in ("guard_handover", "guard_handover_check")),
    ]


def _postgresql_first_down() -> list[str]:
    guarded = (*APPEND_ONLY, *FIRST_CARD_CHILDREN, "tracker_jobcard")
    functions = ("guard_kept", "guard_signed_card", "guard_signed_part")
    constraints = ("component_in_one_place_ever", "position_holds_one_component_ever")
    return [
        *(f"DROP TRIGGER IF EXISTS guard_{table} ON {table}" for table in guarded),
        *(f"DROP FUNCTION IF EXISTS {name}()" for name in functions),
        *(f"ALTER TABLE tracker_fitment DROP CONSTRAINT IF EXISTS {name}" for name in constraints),
    ]


def put_up(connection: BaseDatabaseWrapper) -> None:
    """Create all guards on the connection's database."""
    put_up_first(connection)
    put_up_later(connection)
    put_up_tighter(connection)
    put_up_bulletins(connection)
    put_up_intervals(connection)
    put_up_texts(connection)


def put_up_first(connection: BaseDatabaseWrapper) -> None:
    """Create the guards of the first tables."""
    _run(connection, _postgresql_first() if connection.vendor == "postgresql" else _sqlite_first())


def put_up_later(connection: BaseDatabaseWrapper) -> None:
    """Create the guards of what came later: photos, release checks, handovers."""
    _run(connection, _postgresql_later() if connection.vendor == "postgresql" else _sqlite_later())


def put_up_tighter(connection: BaseDatabaseWrapper) -> None:
    """Replace the guards of parts by those that also see where a part goes; refuse TRUNCATE."""
    _run(connection, _postgresql_tighter() if connection.vendor == "postgresql" else _sqlite_tighter())


def put_up_bulletins(connection: BaseDatabaseWrapper) -> None:
    """Create the guards of bulletins, the one against TRUNCATE included."""
    if connection.vendor == "postgresql":
        _run(connection, [*guards_bulletins.postgresql(), *_postgresql_truncate(guards_bulletins.TABLES)])
    else:
        _run(connection, guards_bulletins.sqlite())


def take_down_bulletins(connection: BaseDatabaseWrapper) -> None:
    """Remove them, for a reversed migration."""
    if connection.vendor == "postgresql":
        emptied = (f"DROP TRIGGER IF EXISTS guard_{table}_emptied ON {table}" for table in guards_bulletins.TABLES)
        _run_where_tables_are(connection, [*emptied, *guards_bulletins.postgresql_down()])
    else:
        _run(connection, guards_bulletins.sqlite_down())


def put_up_texts(connection: BaseDatabaseWrapper) -> None:
    """Create the guards of a bulletin's words in other languages, the one against TRUNCATE included."""
    tables = guards_bulletins.TEXTS
    if connection.vendor == "postgresql":
        _run(connection, [*guards_bulletins.postgresql_parts(tables), *_postgresql_truncate(tables)])
    else:
        _run(connection, guards_bulletins.sqlite_parts(tables))


def take_down_texts(connection: BaseDatabaseWrapper) -> None:
    """Remove them, for a reversed migration."""
    tables = guards_bulletins.TEXTS
    if connection.vendor == "postgresql":
        _run_where_tables_are(connection, _postgresql_kept_down(tables))
    else:
        _run(connection, guards_bulletins.sqlite_down(tables))


def _postgresql_kept_down(tables: Iterable[str]) -> list[str]:
    return [f"DROP TRIGGER IF EXISTS guard_{table}{end} ON {table}" for table in tables for end in ("_emptied", "")]


def put_up_intervals(connection: BaseDatabaseWrapper) -> None:
    """Create the guards of what is kept of changed intervals, the one against TRUNCATE included."""
    if connection.vendor == "postgresql":
        statements = [
            f"CREATE TRIGGER guard_{table} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_kept()"
            for table in INTERVAL_TABLES
        ]
        _run(connection, [*statements, *_postgresql_truncate(INTERVAL_TABLES)])
    else:
        _run(connection, _sqlite_kept(INTERVAL_TABLES))


def take_down_intervals(connection: BaseDatabaseWrapper) -> None:
    """Remove them, for a reversed migration."""
    if connection.vendor == "postgresql":
        _run_where_tables_are(connection, _postgresql_kept_down(INTERVAL_TABLES))
    else:
        names = [f"guard_{table}_{when}" for table in INTERVAL_TABLES for when in ("update", "delete")]
        _run(connection, [f"DROP TRIGGER IF EXISTS {name}" for name in names])


def let_tables_be_emptied(connection: BaseDatabaseWrapper) -> None:
    """Remove what refuses TRUNCATE, for a reversed migration and for tests that must empty the tables."""
    if connection.vendor == "postgresql":
        _run_where_tables_are(connection, _postgresql_truncate_down())


def refuse_emptied_tables(connection: BaseDatabaseWrapper) -> None:
    """Refuse TRUNCATE again."""
    if connection.vendor == "postgresql":
        later = (*guards_bulletins.TABLES, *INTERVAL_TABLES, *guards_bulletins.TEXTS)
        _run(connection, [*_postgresql_truncate(), *_postgresql_truncate(later)])


def take_down(connection: BaseDatabaseWrapper) -> None:
    """Remove them all: for a reversed migration, and for tests that must empty the tables."""
    take_down_texts(connection)
    take_down_intervals(connection)
    take_down_bulletins(connection)
    if connection.vendor == "postgresql":
        let_tables_be_emptied(connection)
        take_down_later(connection)
        _run(connection, _postgresql_first_down())
    else:
        _run(connection, _sqlite_down())


def take_down_later(connection: BaseDatabaseWrapper) -> None:
    """Remove from PostgreSQL what put_up_later created, where its tables are there."""
    _run_where_tables_are(connection, _postgresql_later_down())


def _run_where_tables_are(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    there = set(connection.introspection.table_names())
    _run(connection, [words for words in statements if " ON " not in words or words.rsplit(" ON ", 1)[1] in there])


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
