"""What the database itself refuses, beyond Django's constraints: the SQL of both databases, side by side.

- a component in two places, or a place with two components, over any stretch of the past (PostgreSQL: exclusion
  constraints; SQLite: triggers);
- any change to a logbook entry or a completion, and to a signed job card with all that hangs on it.
"""

from django.db.backends.base.base import BaseDatabaseWrapper

APPEND_ONLY = ("tracker_logentry", "tracker_completion")
CARD_CHILDREN = ("tracker_jobtask", "tracker_measurement", "tracker_swap", "tracker_failure")
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


def _sqlite_up() -> list[str]:
    statements = [
        f"CREATE TRIGGER guard_fitment_{when} BEFORE {when.upper()} ON tracker_fitment "
        f"BEGIN {_SAME_COMPONENT} {_SAME_PLACE} END"
        for when in ("insert", "update")
    ]
    for table in APPEND_ONLY:
        statements += [
            f"CREATE TRIGGER guard_{table}_{when} BEFORE {when.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
            for when in ("update", "delete")
        ]
    statements += [
        f"CREATE TRIGGER guard_tracker_jobcard_{when} BEFORE {when.upper()} ON tracker_jobcard "
        f"WHEN OLD.state = 'signed' BEGIN SELECT RAISE(ABORT, '{SIGNED}'); END"
        for when in ("update", "delete")
    ]
    for table in CARD_CHILDREN:
        for when, row in (("insert", "NEW"), ("update", "OLD"), ("delete", "OLD")):
            statements.append(
                f"CREATE TRIGGER guard_{table}_{when} BEFORE {when.upper()} ON {table} "
                f"WHEN (SELECT state FROM tracker_jobcard WHERE id = {row}.card_id) = 'signed' "
                f"BEGIN SELECT RAISE(ABORT, '{SIGNED}'); END"
            )
    return statements


def _sqlite_down() -> list[str]:
    names = [f"guard_fitment_{when}" for when in ("insert", "update")]
    names += [f"guard_{table}_{when}" for table in (*APPEND_ONLY, "tracker_jobcard") for when in ("update", "delete")]
    names += [f"guard_{table}_{when}" for table in CARD_CHILDREN for when in ("insert", "update", "delete")]
    return [f"DROP TRIGGER IF EXISTS {name}" for name in names]


def _postgresql_up() -> list[str]:
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
    statements += [
        f"CREATE TRIGGER guard_{table} BEFORE INSERT OR UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION guard_signed_part()"
        for table in CARD_CHILDREN
    ]
    return statements


def _postgresql_down() -> list[str]:
    statements = [
        f"DROP TRIGGER IF EXISTS guard_{table} ON {table}"
        for table in (*APPEND_ONLY, *CARD_CHILDREN, "tracker_jobcard")
    ]
    statements += [
        f"DROP FUNCTION IF EXISTS {name}()" for name in ("guard_kept", "guard_signed_card", "guard_signed_part")
    ]
    return statements + [
        f"ALTER TABLE tracker_fitment DROP CONSTRAINT IF EXISTS {name}"
        for name in ("component_in_one_place_ever", "position_holds_one_component_ever")
    ]


def put_up(connection: BaseDatabaseWrapper) -> None:
    """Create the guards on the connection's database."""
    _run(connection, _postgresql_up() if connection.vendor == "postgresql" else _sqlite_up())


def take_down(connection: BaseDatabaseWrapper) -> None:
    """Remove them: for a reversed migration, and for tests that must empty the tables."""
    _run(connection, _postgresql_down() if connection.vendor == "postgresql" else _sqlite_down())


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
