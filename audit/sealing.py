"""The database's own refusal to change what was signed: triggers on snapshots and signatures, on both databases.

They are put in place after every migration, because a later one may rebuild a table and lose them.
"""

from typing import Any

from django.db import connections

SNAPSHOT, SIGNED = "audit_snapshot", "audit_signedaudit"
REFUSED = "a signed audit never changes"
FIXED = (
    "audit_year_id", "number", "snapshot_id", "signed_by_id", "signed_at", "preliminary", "html", "pdf", "pdf_checksum",
)  # fmt: skip


def rules(vendor: str) -> list[tuple[str, str, str, str]]:
    """(name, table, act, condition of refusal). A signature may only be opened again, once."""
    same = "IS" if vendor == "sqlite" else "IS NOT DISTINCT FROM"
    unchanged = " AND ".join(f"OLD.{column} {same} NEW.{column}" for column in FIXED)
    reopening = f"OLD.reopened_at IS NULL AND NEW.reopened_at IS NOT NULL AND {unchanged}"
    return [
        ("sealed_snapshot_update", SNAPSHOT, "UPDATE", "1 = 1"),
        ("sealed_snapshot_delete", SNAPSHOT, "DELETE", "1 = 1"),
        ("sealed_signature_update", SIGNED, "UPDATE", f"NOT ({reopening})"),
        ("sealed_signature_delete", SIGNED, "DELETE", "1 = 1"),
    ]


def install(sender: Any = None, using: str = "default", **kwargs: Any) -> None:
    """Put the triggers in place, replacing earlier ones; does nothing before the tables are there."""
    connection = connections[using]
    if not {SNAPSHOT, SIGNED} <= set(connection.introspection.table_names()):
        return
    remove(using)
    make = _sqlite if connection.vendor == "sqlite" else _postgresql
    with connection.cursor() as cursor:
        for rule in rules(connection.vendor):
            for statement in make(*rule):
                cursor.execute(statement)


def lift(sender: Any = None, using: str = "default", **kwargs: Any) -> None:
    """Before a migration: SQLite rebuilds a table by copying and deleting its rows, which the triggers would refuse."""
    if {SNAPSHOT, SIGNED} <= set(connections[using].introspection.table_names()):
        remove(using)


def remove(using: str = "default") -> None:
    connection = connections[using]
    with connection.cursor() as cursor:
        for name, table, *_ in rules(connection.vendor):
            on = "" if connection.vendor == "sqlite" else f" ON {table}"
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def _sqlite(name: str, table: str, act: str, condition: str) -> list[str]:
    return [
        f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW WHEN {condition}"
        f" BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
    ]


def _postgresql(name: str, table: str, act: str, condition: str) -> list[str]:
    returned = "OLD" if act == "DELETE" else "NEW"
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {condition} THEN"
        f" RAISE EXCEPTION '{REFUSED}' USING ERRCODE = 'check_violation'; END IF; RETURN {returned}; END $$",
        f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]
