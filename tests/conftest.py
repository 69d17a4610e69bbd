"""The cast: one practice with one person per role, and a colleague who works elsewhere."""

import json
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client, TransactionTestCase, override_settings

from audit import sealing
from clinic.access.models import Member, Practice
from clinic.access.rules import Role
from clinic.procedures import guard
from tests.factories import create_member, create_practice
from tests.tables import TABLES

# Of a test with many values beside PostgreSQL; a walk is taken by one hand.
MOST_CASES, MOST_HANDS = 2, 1
# Here every case is another rule of the database, or another page with statements of its own.
EVERY_CASE = {"test_database_rules.py", "test_access_matrix.py"}


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--every-case", action="store_true", help="beside PostgreSQL, too, run tests with all their values"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Beside PostgreSQL only tests that use the database run, and with few of their values.

    Whatever else they show, SQLite's run has shown: the same statements with other values.
    """
    if not os.environ.get("DATABASE_URL", "").startswith("postgres"):
        return
    kept, cases = [], Counter[str]()
    for item in items:
        walk = item.get_closest_marker("walk")
        if not (item.get_closest_marker("django_db") or walk or "db" in item.fixturenames):
            continue
        name = f"{item.path}::{getattr(item, 'originalname', item.name)}"
        cases[name] += 1
        every = config.getoption("--every-case") or item.path.name in EVERY_CASE
        if every or cases[name] <= (MOST_HANDS if walk else MOST_CASES):
            kept.append(item)
    config.hook.pytest_deselected(items=[item for item in items if item not in set(kept)])
    items[:] = kept


@pytest.fixture(scope="session", autouse=True)
def _empties_sealed_tables():
    """After a test with real transactions every table is emptied, signed records too; migrating seals them again."""
    teardown = TransactionTestCase._fixture_teardown

    def without_triggers(case) -> None:
        guard.remove()
        sealing.remove()
        teardown(case)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", without_triggers)
        yield


@pytest.fixture(scope="session", autouse=True)
def _photographs_in_a_scratch_folder(tmp_path_factory):
    """No test writes into the folder of the working copy."""
    with override_settings(PHOTOGRAPH_DIR=tmp_path_factory.mktemp("photographs")):
        yield


@pytest.fixture(autouse=True)
def fast_passwords(settings) -> None:
    """A slow hash protects real passwords; here it would only make every test wait."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def practice(db) -> Practice:
    return create_practice(code="north", name="Northgate foot rooms (fictional)")


@pytest.fixture
def other_practice(db) -> Practice:
    return create_practice(code="south", name="Southbank foot rooms (fictional)")


@pytest.fixture
def practitioner(practice: Practice) -> Member:
    return create_member(practice, role=Role.PRACTITIONER, username="practitioner")


@pytest.fixture
def assistant(practice: Practice) -> Member:
    return create_member(practice, role=Role.ASSISTANT, username="assistant")


@pytest.fixture
def reception(practice: Practice) -> Member:
    return create_member(practice, role=Role.RECEPTION, username="reception")


@pytest.fixture
def lead(practice: Practice) -> Member:
    return create_member(practice, role=Role.LEAD, username="lead")


@pytest.fixture
def administrator(practice: Practice) -> Member:
    return create_member(practice, role=Role.ADMINISTRATOR, username="administrator")


@pytest.fixture
def reviewer(practice: Practice) -> Member:
    return create_member(practice, role=Role.REVIEWER, username="reviewer")


@pytest.fixture
def colleague_elsewhere(other_practice: Practice) -> Member:
    return create_member(other_practice, role=Role.PRACTITIONER, username="colleague_elsewhere")


@pytest.fixture
def client_of() -> Callable[[Member], Client]:
    """A browser in which this member is signed in."""

    def signed_in(member: Member, **options) -> Client:
        client = Client(**options)
        client.force_login(member)
        return client

    return signed_in


RACE = """
import json, threading
{tables}
from django.db import connection, transaction
from tests.factories import create_member, create_practice
{body}
barrier, results = threading.Barrier({runners}), []
def run():
    barrier.wait()
    try:
        results.append(attempt())
    except Exception as error:
        results.append(type(error).__name__)
    finally:
        connection.close()
threads = [threading.Thread(target=run) for _ in range({runners})]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
print(json.dumps([results, after()]))
"""


@pytest.fixture
def race(tmp_path: Path) -> Callable[..., tuple[list, object]]:
    """Runs `attempt()` of the given program at the same moment in several threads, then `after()`.

    In a process and a database file of its own: the test database lives in memory, where locks work otherwise.
    """

    def run(body: str, *, runners: int = 6) -> tuple[list, object]:
        url = os.environ.get("RACE_DATABASE_URL", f"sqlite:///{tmp_path / 'race.sqlite3'}")
        environment = {**os.environ, "VAR_DIR": str(tmp_path), "DATABASE_URL": url, "PRODUCTION": ""}
        environment["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
        program = RACE.format(tables=TABLES, body=body, runners=runners)
        root = Path(__file__).resolve().parent.parent
        done = subprocess.run(
            [sys.executable, "-c", program], env=environment, cwd=root, capture_output=True, text=True, timeout=300
        )
        assert done.returncode == 0, done.stderr
        return tuple(json.loads(done.stdout.splitlines()[-1]))

    return run
