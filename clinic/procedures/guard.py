"""The database's own refusal to change a signed operation: triggers on every table of its record.

They are put in place after every migration, on both databases, and taken away before it: SQLite rebuilds a table to
change it, and the rebuilt table of a signed record would be left empty. A change is let through only while an
amendment of that operation is open, which lives inside one transaction.
"""

from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connections

PREFIX = "signed_record"
OPERATION, AMENDMENT = "clinic_operation", "clinic_amendment"
REFUSED = "a signed record changes only by an amendment"
CLOSED = "a closed amendment never changes"


@dataclass(frozen=True)
class Guarded:
    """A table of the record. operation: SQL for the operation's id, with {row} for OLD or NEW."""

    model: str
    operation: str

    @property
    def table(self) -> str:
        return apps.get_model("clinic", self.model)._meta.db_table


_OF_NAIL = "(SELECT n.operation_id FROM clinic_nailprocedure n WHERE n.id = {row}.nail_procedure_id)"
_OF_SIDE = (
    "(SELECT n.operation_id FROM clinic_nailprocedure n JOIN clinic_treatedside s ON s.nail_procedure_id = n.id"
    " WHERE s.id = {row}.treated_side_id)"
)
OWN = "{row}.operation_id"
GUARDED = [
    Guarded("operation", "{row}.id"),
    Guarded("nailprocedure", OWN),
    Guarded("treatedside", _OF_NAIL),
    Guarded("application", _OF_SIDE),
    Guarded("anaestheticdose", OWN),
    Guarded("operationevent", OWN),
    Guarded("mark", OWN),
    Guarded("sitedecision", OWN),
    Guarded("checklistphase", OWN),
    Guarded("checkeditem", "(SELECT p.operation_id FROM clinic_checklistphase p WHERE p.id = {row}.phase_id)"),
]


def sealed(operation: str) -> str:
    """SQL: whether the stored operation is signed and no amendment of it is open."""
    return (
        f"EXISTS (SELECT 1 FROM {OPERATION} o WHERE o.id = {operation} AND o.signed_at IS NOT NULL AND NOT EXISTS"  # noqa: S608
        f" (SELECT 1 FROM {AMENDMENT} a WHERE a.operation_id = o.id AND a.closed_at IS NULL))"
    )


def rules() -> list[tuple[str, str, str, str, str]]:
    """(name, table, act, condition, sentence) of every trigger."""
    found = []
    for each in GUARDED:
        for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD")):
            if each.model == "operation" and act == "INSERT":
                continue  # the row itself cannot be signed before it is there
            condition = sealed(each.operation.format(row=row))
            if act == "UPDATE":  # nor may a row of another operation be moved in
                condition = f"({condition} OR {sealed(each.operation.format(row='NEW'))})"
            found.append((f"{PREFIX}_{each.model}_{act.lower()}", each.table, act, condition, REFUSED))
    closed = "OLD.closed_at IS NOT NULL"
    found.append((f"{PREFIX}_amendment_update", AMENDMENT, "UPDATE", f"{closed} AND NOT ({only_seen()})", CLOSED))
    found.append((f"{PREFIX}_amendment_delete", AMENDMENT, "DELETE", closed, CLOSED))
    return found


def only_seen() -> str:
    """SQL: whether an update of an amendment notes that the lead has read it, for the first time, and nothing else."""
    others = [
        field.column
        for field in apps.get_model("clinic", "amendment")._meta.concrete_fields
        if field.name not in {"seen_by_lead", "seen_by_lead_at"}
    ]
    both_empty = "NEW.{0} IS NULL AND OLD.{0} IS NULL"  # an equality with NULL is neither true nor false
    same = [f"COALESCE(NEW.{column} = OLD.{column}, {both_empty.format(column)})" for column in others]
    return " AND ".join(["OLD.seen_by_lead_at IS NULL", "NEW.seen_by_lead_at IS NOT NULL", *same])


def lift(sender: Any = None, using: str = "default", **kwargs: Any) -> None:
    """Take the triggers away for the time of a migration; `install` puts them back when it is done."""
    remove(using)


def install(sender: Any = None, using: str = "default", **kwargs: Any) -> None:
    """Put the triggers in place, replacing earlier ones; does nothing before the tables are there."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    if not {AMENDMENT, *(each.table for each in GUARDED)} <= tables:
        return
    make = _sqlite if connection.vendor == "sqlite" else _postgresql
    remove(using)
    with connection.cursor() as cursor:
        for rule in rules():
            for statement in make(*rule):
                cursor.execute(statement)


def remove(using: str = "default") -> None:
    connection = connections[using]
    with connection.cursor() as cursor:
        for name, table, *_ in rules():
            on = "" if connection.vendor == "sqlite" else f" ON {table}"
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def _sqlite(name: str, table: str, act: str, condition: str, sentence: str) -> list[str]:
    return [
        f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW WHEN {condition}"
        f" BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
    ]


def _postgresql(name: str, table: str, act: str, condition: str, sentence: str) -> list[str]:
    # A condition that reads other tables cannot stand in WHEN there, so every rule has its function.
    returned = "OLD" if act == "DELETE" else "NEW"
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {condition} THEN"
        f" RAISE EXCEPTION '{sentence}' USING ERRCODE = 'check_violation'; END IF; RETURN {returned}; END $$",
        f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]
