"""The pages of the audit on 5,000 stored procedures with 20,000 reviews: counted afresh, then from stored figures.

In a process of its own, on a fresh SQLite file: the other benchmarks know no Django.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.measuring import Table, seconds
from tests.benchmarks.peers import Peers

ROOT = Path(__file__).resolve().parents[2]
COLUMNS = {"page": 34, "first": 11, "median": 11, "95 %": 11, "statements": 12, "kB": 8}


def run(quick: bool, peers: Peers) -> None:
    """first: with nothing stored, everything counted and kept. median, 95 %: of 40 more requests in one process."""
    with tempfile.TemporaryDirectory() as folder:
        environment = {
            **os.environ, "VAR_DIR": folder, "DATABASE_URL": f"sqlite:///{folder}/pages.sqlite3", "PRODUCTION": "",
            "DJANGO_SETTINGS_MODULE": "clinic.settings", "LOG_LEVEL": "ERROR",
        }  # fmt: skip
        size = "500" if quick else "5000"
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.page_server", size], cwd=ROOT, env=environment,
            capture_output=True, text=True,
        )  # fmt: skip
    if done.returncode:
        raise SystemExit(done.stderr[-2000:])
    found = json.loads(done.stdout.splitlines()[-1])
    table = Table(f"Pages on {found['procedures']:,} stored procedures, {found['reviews']:,} reviews", COLUMNS)
    for row in found["pages"]:
        table.row(
            row["page"], seconds(row["first"]), seconds(row["median"]), seconds(row["high"]), f"{row['statements']}",
            f"{row['bytes'] / 1024:.0f}",
        )  # fmt: skip
