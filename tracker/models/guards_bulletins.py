"""What the database itself refuses about bulletins, as SQL of both databases; tracker/models/guards.py runs it.

A step is kept for ever. A released bulletin may still be closed or withdrawn, but its words, its scope and who released
it stand; no range, no part type and no words in another language are added to it or taken from it.
"""

from collections.abc import Iterable

STEPS = "tracker_bulletinstep"
BULLETIN = "tracker_bulletin"
SCOPE = ("tracker_bulletinrange", "tracker_bulletin_part_types")
TABLES = (STEPS, BULLETIN, *SCOPE)
TEXTS = ("tracker_bulletintext",)  # since migration 0019
FIXED = (
    "number", "title", "severity", "is_hazard", "hazard", "stop_riding", "remedy", "work", "minutes", "deadline_on",
    "deadline_km", "every_months", "every_km", "batches", "firmware", "made_from", "made_until", "note", "written_by_id",
    "written_at", "released_by_id", "released_at",
)  # fmt: skip
STEP_KEPT = "the steps of a bulletin are append-only"
RELEASED = "a released bulletin cannot be changed: withdraw it and write another"


def sqlite() -> list[str]:
    """Return the triggers of SQLite."""
    statements = [
        f"CREATE TRIGGER guard_{STEPS}_{when} BEFORE {when.upper()} ON {STEPS} "
        f"BEGIN SELECT RAISE(ABORT, '{STEP_KEPT}'); END"
        for when in ("update", "delete")
    ]
    changed = " OR ".join(f"NEW.{name} IS NOT OLD.{name}" for name in FIXED)
    statements += [
        f"CREATE TRIGGER guard_{BULLETIN}_update BEFORE UPDATE ON {BULLETIN} WHEN OLD.state <> 'draft' "
        f"AND (NEW.state = 'draft' OR {changed}) BEGIN SELECT RAISE(ABORT, '{RELEASED}'); END",
        f"CREATE TRIGGER guard_{BULLETIN}_delete BEFORE DELETE ON {BULLETIN} WHEN OLD.state <> 'draft' "
        f"BEGIN SELECT RAISE(ABORT, '{RELEASED}'); END",
    ]
    return statements + sqlite_parts(SCOPE)


def sqlite_parts(tables: Iterable[str]) -> list[str]:
    """Return the triggers of SQLite on tables whose rows belong to a bulletin: a released one gains and loses none."""
    statements = []
    for table in tables:
        for when, rows in (("insert", "NEW"), ("update", "OLD NEW"), ("delete", "OLD")):
            ids = ", ".join(f"{row}.bulletin_id" for row in rows.split())
            statements.append(
                f"CREATE TRIGGER guard_{table}_{when} BEFORE {when.upper()} ON {table} WHEN EXISTS (SELECT 1 FROM "
                f"{BULLETIN} WHERE id IN ({ids}) AND state <> 'draft') BEGIN SELECT RAISE(ABORT, '{RELEASED}'); END"
            )
    return statements


def sqlite_down(tables: Iterable[str] = TABLES) -> list[str]:
    """Return what removes them."""
    names = [f"guard_{table}_{when}" for table in tables for when in ("insert", "update", "delete")]
    return [f"DROP TRIGGER IF EXISTS {name}" for name in names]


def postgresql() -> list[str]:
    """Return the functions and triggers of PostgreSQL; TRUNCATE apart."""
    new, old = (", ".join(f"{row}.{name}" for name in FIXED) for row in ("NEW", "OLD"))
    return [
        _function("guard_bulletin_step", f"{_refuse(STEP_KEPT)};"),
        _function(
            "guard_bulletin",
            f"IF OLD.state <> 'draft' THEN IF TG_OP = 'DELETE' THEN {_refuse(RELEASED)}; "
            f"ELSIF NEW.state = 'draft' OR ({new}) IS DISTINCT FROM ({old}) THEN {_refuse(RELEASED)}; END IF; END IF; "
            "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW;",
        ),
        _function(
            "guard_bulletin_scope",
            "IF TG_OP <> 'INSERT' THEN ids := ids || OLD.bulletin_id::bigint; END IF; "
            "IF TG_OP <> 'DELETE' THEN ids := ids || NEW.bulletin_id::bigint; END IF; "
            f"IF EXISTS (SELECT 1 FROM {BULLETIN} WHERE id = ANY(ids) AND state <> 'draft') THEN {_refuse(RELEASED)}; "
            "END IF; IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW;",
            "DECLARE ids bigint[]; ",
        ),
        _trigger(STEPS, "UPDATE OR DELETE", "guard_bulletin_step"),
        _trigger(BULLETIN, "UPDATE OR DELETE", "guard_bulletin"),
        *postgresql_parts(SCOPE),
    ]


def postgresql_parts(tables: Iterable[str]) -> list[str]:
    """Return the triggers of PostgreSQL on tables whose rows belong to a bulletin; their function stands in postgresql()."""
    return [_trigger(table, "INSERT OR UPDATE OR DELETE", "guard_bulletin_scope") for table in tables]


def postgresql_down() -> list[str]:
    """Return what removes them."""
    functions = ("guard_bulletin_step", "guard_bulletin", "guard_bulletin_scope")
    return [
        *(f"DROP TRIGGER IF EXISTS guard_{table} ON {table}" for table in TABLES),
        *(f"DROP FUNCTION IF EXISTS {name}()" for name in functions),
    ]


def _refuse(words: str) -> str:
    return f"RAISE EXCEPTION '{words}' USING ERRCODE = 'integrity_constraint_violation'"


def _function(name: str, body: str, declared: str = "") -> str:
    return f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ {declared}BEGIN {body} END $$"


def _trigger(table: str, when: str, function: str) -> str:
    return f"CREATE TRIGGER guard_{table} BEFORE {when} ON {table} FOR EACH ROW EXECUTE FUNCTION {function}()"
