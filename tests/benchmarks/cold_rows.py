"""A file of reviews as a practice might keep it: one line per treated side and review."""

from pathlib import Path

import numpy as np
import pandas as pd

from tests.benchmarks.data import clinic

TECHNIQUES = ("partial, phenol", "partial, cautery", "total, phenol")
SECONDS, NAIL_SIDES, TOES = (60, 120, 180, 240), ("tibial", "fibular", "whole"), (1, 2, 3, 4, 5)


def write(path: Path, sides: int, seed: int = 7) -> int:
    """Writes the file; gives the number of lines. A side without a review has one line without a day."""
    made = clinic(sides, seed)
    random = np.random.default_rng(seed)
    found = made.findings(0.5, seed)
    unseen = np.setdiff1d(np.arange(sides), found["side"])
    side = np.concatenate([found["side"], unseen])
    order = np.argsort(side, kind="stable")
    patients = int(made.patient.max()) + 1
    by_patient = {
        "technique": np.array(TECHNIQUES)[random.choice(3, patients, p=[0.7, 0.2, 0.1])][made.patient],
        "seconds": np.array(SECONDS)[random.integers(0, 4, patients)][made.patient],
        "nail_side": np.array(NAIL_SIDES)[random.choice(3, sides, p=[0.45, 0.45, 0.1])],
        "toe": np.array(TOES)[random.choice(5, sides, p=[0.8, 0.05, 0.05, 0.05, 0.05])],
        "followed_days": made.last_day[made.patient].astype(int),
    }
    day = np.concatenate([found["day"], np.full(len(unseen), np.nan)])
    extent = np.concatenate([np.where(found["regrown"], "spicule", "none"), np.full(len(unseen), "")])
    frame = pd.DataFrame({"side": side, "patient": made.patient[side]} | {k: v[side] for k, v in by_patient.items()})
    frame["day"], frame["extent"] = day, extent
    frame.iloc[order].to_csv(path, index=False)
    return len(frame)
