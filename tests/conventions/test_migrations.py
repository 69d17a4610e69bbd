"""Migrations make the tables, constraints and triggers that the models ask for; the other tests build on the models."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LOOK = """
import json, sys, django
from django.conf import settings
if "from models" in sys.argv:
    settings.MIGRATION_MODULES = dict.fromkeys(["auth", "contenttypes", "sessions", "clinic", "audit"])
django.setup()
from django.core.management import call_command
from django.db import connection
call_command("migrate", run_syncdb="from models" in sys.argv, verbosity=0)
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


def tables(folder: Path, *arguments: str) -> dict:
    folder.mkdir()
    environment = {**os.environ, "VAR_DIR": str(folder), "DATABASE_URL": f"sqlite:///{folder / 'db.sqlite3'}"}
    environment |= {"DJANGO_SETTINGS_MODULE": "clinic.settings", "PRODUCTION": ""}
    command = [sys.executable, "-c", LOOK, *arguments]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_migrations_and_models_make_the_same_tables(tmp_path):
    migrated, modelled = tables(tmp_path / "migrated"), tables(tmp_path / "modelled", "from models")

    assert migrated.keys() == modelled.keys()
    assert {table for table in modelled if migrated[table] != modelled[table]} == set()
    assert len(modelled["triggers"]) > 20
