"""The same records give the same snapshot on both databases: beside PostgreSQL, with SQLite in its own process."""

import os
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.db import connection, transaction

from audit.cycle import open_year
from audit.signing import freeze
from clinic.access.models import Member
from clinic.demo.load import load
from tests.tables import TABLES

ROOT = Path(__file__).resolve().parents[2]
LOADED_ON = date(2026, 11, 25)
PROGRAM = f"""{TABLES}
from tests.audit.test_same_bytes import frozen_demo
print(frozen_demo())
"""


def frozen_demo() -> str:
    """The checksum of the demo's year 2023, loaded and frozen within a transaction that is taken back."""
    with transaction.atomic():
        load(LOADED_ON, "a password of the test")
        lead = Member.objects.get(username="orla")
        year = open_year(
            by=lead, starting_year=2023, as_of=date(2025, 5, 30), aim="To look.", context="",
            now=datetime(2026, 11, 25, 12, 0, tzinfo=UTC),
        )  # fmt: skip
        found = freeze(year).checksum
        transaction.set_rollback(True)
    return found


@pytest.mark.django_db
@pytest.mark.skipif(
    "connection.vendor == 'sqlite'", reason="Compares SQLite with the other database: .ci/postgres pytest"
)
def test_a_snapshot_is_the_same_on_both_databases(tmp_path):
    assert connection.vendor == "postgresql"
    environment = {
        **os.environ, "VAR_DIR": str(tmp_path), "DATABASE_URL": f"sqlite:///{tmp_path / 'one.sqlite3'}",
        "DJANGO_SETTINGS_MODULE": "clinic.settings", "PRODUCTION": "",
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], env=environment, cwd=ROOT, capture_output=True, text=True, timeout=900
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.split()[-1] == frozen_demo()
