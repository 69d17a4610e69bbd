"""The yearly figures as somebody would write them in a notebook: group by group with pandas, a text-book EM for the
curve, and a loop of refits for its interval. It counts less than the report does: no bounds, no healing, no records."""

import numpy as np
import pandas as pd

from audit.measures.columns import Cohort

HORIZON, OPENS, CLOSES = 365, 335, 425
OUTCOMES = ("any_regrowth", "symptomatic_recurrence", "re_operation")
GROUPS = ("technique", "agent", "exposure_seconds", "side", "curettage", "lavage", "toe", "operator")
TOLERANCE, MOST_STEPS = 1e-6, 2_000


def counted(cohort: Cohort, outcome: str) -> tuple[dict[tuple[str, object], object], pd.DataFrame]:
    """Counts with Wilson intervals by group, and the interval of each side for the curve."""
    from statsmodels.stats.proportion import proportion_confint

    findings = cohort.findings.copy()
    findings["event"] = _event(findings, outcome)
    status = {key: _status(rows) for key, rows in findings.groupby("side_key")}
    sides = cohort.sides.copy()
    sides["status"] = sides["side_key"].map(status)
    tables = {}
    for column in GROUPS:
        for value, rows in sides.dropna(subset="status").groupby(column, dropna=False):
            events, total = int(rows["status"].sum()), len(rows)
            tables[column, value] = (events, total, proportion_confint(events, total, method="wilson"))
    groups = findings.groupby("side_key")
    intervals = pd.DataFrame([_interval(rows) for _, rows in groups], columns=["left", "right"])
    intervals["patient_key"] = groups.first().index.map(sides.set_index("side_key")["patient_key"])
    return tables, intervals


def draws(intervals: pd.DataFrame, replicates: int, seed: int = 1) -> list[float]:
    """The risk at one year of patients drawn with replacement, refitted each time."""
    random = np.random.default_rng(seed)
    by_patient = dict(list(intervals.groupby("patient_key")))
    patients = list(by_patient)
    return [
        risk(pd.concat([by_patient[key] for key in random.choice(patients, len(patients))])) for _ in range(replicates)
    ]


def _event(findings: pd.DataFrame, outcome: str) -> pd.Series:
    if outcome == "any_regrowth":
        return findings["extent"].isin(["spicule", "strip", "full"])
    if outcome == "re_operation":
        return findings["retreatment"].isin(["done", "elsewhere"])
    return findings["symptoms"] == "ingrowth"


def _status(rows: pd.DataFrame) -> float:
    if (rows["event"] & (rows["day"] <= CLOSES)).any():
        return 1.0
    return 0.0 if (~rows["event"] & (rows["day"] >= OPENS)).any() else np.nan


def _interval(rows: pd.DataFrame) -> tuple[float, float]:
    first = rows.loc[rows["event"], "day"].min()
    clear = rows.loc[~rows["event"] & ~(rows["day"] > first), "day"].max()
    return (0.0 if pd.isna(clear) else float(clear)), (np.inf if pd.isna(first) else float(first))


def risk(intervals: pd.DataFrame) -> float:
    """Turnbull's self-consistency on the distinct intervals, until no mass moves."""
    counts = intervals.groupby(["left", "right"]).size().reset_index(name="weight")
    ends = np.unique(np.concatenate([counts["left"], counts["right"]]))
    starts, stops = ends[:-1], ends[1:]
    inside = (starts[None, :] >= counts["left"].to_numpy()[:, None]) & (
        stops[None, :] <= counts["right"].to_numpy()[:, None]
    )
    weight = counts["weight"].to_numpy(float)
    mass = np.full(len(starts), 1 / len(starts))
    for _ in range(MOST_STEPS):
        shares = inside * mass
        total = shares.sum(axis=1, keepdims=True)
        moved = (weight[:, None] * shares / np.where(total == 0, 1, total)).sum(axis=0) / weight.sum()
        if np.abs(moved - mass).max() < TOLERANCE:
            break
        mass = moved
    return float(mass[stops <= HORIZON].sum())
