"""Migrations go forward over signed records without losing any, and the seal is there again afterwards."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
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


def test_a_signed_record_survives_every_later_migration(tmp_path):
    environment = {**os.environ, "VAR_DIR": str(tmp_path), "DATABASE_URL": f"sqlite:///{tmp_path / 'old.sqlite3'}"}
    environment |= {"DJANGO_SETTINGS_MODULE": "clinic.settings", "PRODUCTION": ""}

    done = subprocess.run([sys.executable, "-c", PROGRAM], cwd=ROOT, env=environment, capture_output=True, text=True)

    assert done.returncode == 0, done.stderr[-2000:]
    key, signed, agent, seconds, refused = json.loads(done.stdout.splitlines()[-1])
    assert (key, signed, agent, seconds) == ("o" * 12, True, "phenol", 60)
    assert "a signed record changes only by an amendment" in refused
