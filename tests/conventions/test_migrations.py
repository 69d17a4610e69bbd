"""Migrations make the tables, constraints and triggers that the models ask for, and go forward over signed records.

The other tests build on tables made from the models.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.tables import TABLES

ROOT = Path(__file__).resolve().parents[2]
# A record signed before the later migrations; afterwards it is read, and its change refused.
FORWARD = """
import json
import django
django.setup()
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

SINCE = ("clinic", "0001_the_record")
call_command("migrate", *SINCE, verbosity=0)
old = MigrationExecutor(connection).loader.project_state([SINCE]).apps
get = lambda name: old.get_model("clinic", name)
practice = get("Practice").objects.create(key="p" * 12, code="north", name="North (fictional)")
member = get("Member").objects.create(key="m" * 12, username="operator", practice=practice)
patient = get("Patient").objects.create(key="q" * 12, practice=practice)
operation = get("Operation").objects.create(
    key="o" * 12, practice=practice, patient=patient, performed_on="2026-03-02", operator=member, recorded_by=member,
    recorded_at="2026-03-02T10:00:00Z",
)
nail = get("NailProcedure").objects.create(
    key="n" * 12, operation=operation, foot="right", toe=1, technique="pna_chemical", matrix_destroyed=True,
    agent="phenol", strength_basis="w_w",
)
side = get("TreatedSide").objects.create(key="s" * 12, nail_procedure=nail, side="tibial")
get("Application").objects.create(treated_side=side, number=1, seconds=60)
get("Operation").objects.filter(pk=operation.pk).update(signed_by=member, signed_at="2026-03-02T11:00:00Z")
call_command("migrate", verbosity=0)

from clinic.models import Application, NailProcedure, Operation
try:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE clinic_application SET seconds = 61")
    refused = ""
except DatabaseError as error:
    refused = str(error)
stored = Operation.objects.get()
print(json.dumps([
    stored.key, bool(stored.signed_at), NailProcedure.objects.get().agent, Application.objects.get().seconds, refused
]))
"""
LOOK = """
import json
from django.db import connection
found = {}
with connection.cursor() as cursor:
    see = connection.introspection
    for table in see.table_names(cursor):
        columns = [(each.name, each.type_code, each.null_ok) for each in see.get_table_description(cursor, table)]
        rules = see.get_constraints(cursor, table).items()
        named = [name for name, rule in rules if rule["check"] and not name.startswith("__")]
        sound = [(rule["columns"], rule["unique"], rule["foreign_key"]) for _, rule in rules if not rule["check"]]
        found[table] = [sorted(columns), sorted(named), sorted(map(str, sound))]
    cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    found["triggers"] = sorted(cursor.fetchall())
found.pop("django_migrations", None)
print(json.dumps(found))
"""


def run(folder: Path, program: str) -> list[str]:
    """What the program printed, line by line, beside an SQLite file of its own."""
    environment = {**os.environ, "VAR_DIR": str(folder), "DATABASE_URL": f"sqlite:///{folder / 'db.sqlite3'}"}
    environment |= {"DJANGO_SETTINGS_MODULE": "clinic.settings", "PRODUCTION": ""}
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.splitlines()


@pytest.fixture(scope="module")
def migrated(tmp_path_factory) -> list:
    """The record after all migrations, and the tables."""
    return [json.loads(line) for line in run(tmp_path_factory.mktemp("migrated"), FORWARD + LOOK)[-2:]]


def test_a_signed_record_survives_every_later_migration(migrated):
    key, signed, agent, seconds, refused = migrated[0]

    assert (key, signed, agent, seconds) == ("o" * 12, True, "phenol", 60)
    assert "a signed record changes only by an amendment" in refused


def test_migrations_and_models_make_the_same_tables(migrated, tmp_path):
    made, modelled = migrated[1], json.loads(run(tmp_path, TABLES + LOOK)[-1])

    assert made.keys() == modelled.keys()
    assert {table for table in modelled if made[table] != modelled[table]} == set()
    assert len(modelled["triggers"]) > 20
