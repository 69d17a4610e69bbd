"""Clustered intervals of every stratum of a long table, beside a grouping with pandas."""

import numpy as np
import pandas as pd

from audit.stats.clustered import rao_scott_wilson, rao_scott_wilson_by_stratum
from tests.benchmarks.measuring import Table, measure, megabytes, seconds, small
from tests.benchmarks.peers import Peers

SIZES = (1_000, 100_000, 1_000_000, 10_000_000)
STRATA = 40
COLUMNS = {"rows": 13, "best": 11, "median": 11, "pandas": 11, "ours is": 10, "difference": 12, "peak": 11}


def run(quick: bool, peers: Peers) -> None:
    """pandas: only sums per patient and stratum, without any interval. difference: largest difference of a limit from
    the interval of the same stratum calculated alone, patient by patient."""
    table = Table(f"Rates with clustered intervals in {STRATA} strata", COLUMNS)
    for size in SIZES[:-1] if quick else SIZES:
        rows = _rows(size)
        frame = pd.DataFrame(rows)
        runs = 9 if size < 1_000_000 else 3
        ours = measure(lambda rows=rows: rao_scott_wilson_by_stratum(**rows, count=STRATA), runs)
        grouped = measure(lambda frame=frame: _sums(frame), runs, memory=False)
        table.row(
            f"{size:,}", seconds(ours.best), seconds(ours.median), seconds(grouped.best),
            f"{grouped.best / ours.best:.1f} x", small(_difference(ours.result, grouped.result)),
            megabytes(ours.megabytes),
        )  # fmt: skip


def _rows(size: int) -> dict[str, np.ndarray]:
    random = np.random.default_rng(size)
    patients = np.sort(random.integers(0, size // 2 + 1, size)).astype(np.int32)
    strata = random.integers(0, STRATA, size // 2 + 1).astype(np.int8)[patients]
    prone = random.beta(0.2, 3.6, size // 2 + 1)[patients]
    return {"strata": strata, "patients": patients, "events": random.random(size) < prone}


def _sums(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.groupby(["strata", "patients"])["events"].agg(["sum", "count"])


def _difference(found, sums: pd.DataFrame) -> float:
    worst = 0.0
    for stratum, own in list(sums.groupby(level="strata"))[:3]:
        alone = rao_scott_wilson(own["sum"].tolist(), own["count"].tolist())
        worst = max(worst, abs(found[stratum].low - alone.low), abs(found[stratum].high - alone.high))
    return worst
