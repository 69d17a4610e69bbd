"""From a file of reviews to charts with bands, in a process that has just been started, beside R and a notebook."""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks import cold_rows
from tests.benchmarks.measuring import Table, seconds, small
from tests.benchmarks.peers import HERE, Peers

SIZES = (3_000, 100_000)
# A notebook is asked for the smallest file only and multiplied by the number of sides, which flatters it.
NOTEBOOK_SIDES = SIZES[0]
REPLICATES, TIMED_R, TIMED_NOTEBOOK = 1_000, 3, 2
COLUMNS = {
    "sides": 10, "rows": 10, "ours": 10, "of it curves": 13, "worst gap": 11, "R": 11, "ours is": 10,
    "notebook": 13, "ours is ": 12, "risk ours": 11, "R's": 9, "notebook's": 12,
}  # fmt: skip


def run(quick: bool, peers: Peers) -> None:
    """ours: start of Python, reading, four tables with clustered intervals, four curves with 1,000 draws of patients
    each, five charts. R and notebook: the same with unclustered intervals; 3 and 2 of the draws are timed and
    multiplied. risk: of any regrowth by day 365; npsurv counts a stretch that ends later as later."""
    table = Table("The whole audit from a file, in a cold process", COLUMNS)
    notebook = None
    for size in SIZES[:-1] if quick else SIZES:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "reviews.csv"
            rows = cold_rows.write(file, size)
            ours, said = _timed([sys.executable, "-m", "tests.benchmarks.cold_ours", str(file), folder])
            other = _r(peers, file, folder)
            if size == NOTEBOOK_SIDES:
                command = [sys.executable, "-m", "tests.benchmarks.cold_notebook", str(file), folder]
                notebook = _timed([*command, str(TIMED_NOTEBOOK)])[1]
                assert [row[1:] for row in notebook["counted"]["toe"]] == [row[1:] for row in said["counted"]["toe"]]
        script = (notebook["once"] + notebook["refits"]) * size / NOTEBOOK_SIDES if notebook else None
        slow = other["once"] + other["refits"] if other else None
        table.row(
            f"{size:,}", f"{rows:,}", seconds(ours), seconds(said["parts"]["curves"]), small(said["gap"]),
            seconds(slow) if slow else "", f"{slow / ours:,.0f} x" if slow else "",
            seconds(script) if script else "", f"{script / ours:,.0f} x" if script else "",
            f"{said['risk']:.4f}", f"{other['risk']:.4f}" if other else "",
            f"{notebook['risk']:.4f}" if notebook and size == NOTEBOOK_SIDES else "",
        )  # fmt: skip


def _timed(command: list[str]) -> tuple[float, dict]:
    """Seconds from the start of the process to its end, and what it printed."""
    begun = time.perf_counter()
    done = subprocess.run(command, capture_output=True, check=True, text=True)
    return time.perf_counter() - begun, json.loads(done.stdout)


def _r(peers: Peers, file: Path, folder: str) -> dict | None:
    program = peers.rscript
    return _timed([program, str(HERE / "cold.R"), str(file), folder, str(TIMED_R)])[1] if program else None
