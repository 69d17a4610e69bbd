"""The whole audit of a file in a process of its own: read, count, curves with bands, charts. Prints JSON.

python -m tests.benchmarks.cold_ours FILE FOLDER
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

from audit.charts.draw import image
from audit.charts.plots import Step, StepBand, StepChart
from audit.charts.spec import Chart, IntervalRow, Kind
from audit.measures.curves import OBSERVED_AT, curve_of
from audit.stats.bootstrap import RegrowthEstimate, regrowth
from audit.stats.clustered import Proportion, rao_scott_wilson_by_stratum

OPENS, CLOSES = 335, 425
GROUPS = ("technique", "seconds", "nail_side", "toe")
TEXT = {name: "category" for name in ("technique", "nail_side", "extent")}


def main() -> None:
    begun = time.perf_counter()
    rows = pd.read_csv(sys.argv[1], dtype=TEXT)
    sides = rows.drop_duplicates("side")
    first, clear, late = _days(rows, len(sides))
    parts = {"read": time.perf_counter() - begun}
    counted = {name: _counted(sides, name, first, late) for name in GROUPS}
    parts["counted"] = time.perf_counter() - begun - sum(parts.values())
    curves = _curves(sides, clear, first)
    parts["curves"] = time.perf_counter() - begun - sum(parts.values())
    charts = [_chart(name, found) for name, found in counted.items()] + [_steps(curves)]
    for chart in charts:
        (Path(sys.argv[2]) / f"{chart.slug}.svg").write_bytes(image(chart))
    parts["charts"] = time.perf_counter() - begun - sum(parts.values())
    year = next(day for day in curves["all"].days if day.share.day == 365)
    told = {name: [(label, one.events, one.total) for label, one in found] for name, found in counted.items()}
    worst = max(curve.worst_gap for curve in curves.values())
    print(json.dumps({"parts": parts, "risk": year.share.middle, "low": year.low, "high": year.high, "gap": worst,
                      "counted": told}, default=str))  # fmt: skip


def _days(rows: pd.DataFrame, sides: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """First day seen regrown, last day seen clear before it, and whether a clear finding lies at or after day 335."""
    seen = rows["day"].notna().to_numpy()
    side, day = rows["side"].to_numpy()[seen], rows["day"].to_numpy()[seen]
    regrown = (rows["extent"] == "spicule").to_numpy()[seen]
    first, clear, late = np.full(sides, np.inf), np.zeros(sides), np.zeros(sides, bool)
    np.minimum.at(first, side[regrown], day[regrown])
    before = ~regrown & (day < first[side])
    np.maximum.at(clear, side[before], day[before])
    late[side[~regrown & (day >= OPENS)]] = True
    return first, clear, late


def _counted(sides: pd.DataFrame, name: str, first: np.ndarray, late: np.ndarray) -> list[tuple[object, Proportion]]:
    event = first <= CLOSES
    known = (sides["followed_days"].to_numpy() >= CLOSES) & (event | late)
    codes, labels = pd.factorize(sides[name], sort=True)
    found = rao_scott_wilson_by_stratum(
        codes[known], sides["patient"].to_numpy()[known], event[known], count=len(labels)
    )  # fmt: skip
    return list(zip(labels, found, strict=True))


def _curves(sides: pd.DataFrame, clear: np.ndarray, first: np.ndarray) -> dict[str, RegrowthEstimate]:
    patient, technique = sides["patient"].to_numpy(), sides["technique"].to_numpy()
    chosen = {"all": np.ones(len(sides), bool)} | {str(name): technique == name for name in np.unique(technique)}
    return {name: regrowth(patient[own], clear[own], first[own]) for name, own in chosen.items()}


def _chart(name: str, found: list[tuple[object, Proportion]]) -> Chart:
    rows = tuple(
        IntervalRow(str(label), one.events, one.total, one.rate, one.low, one.high, hollow=False)
        for label, one in found
        if one.shown and one.low is not None
    )
    return Chart(f"by-{name}", f"Regrowth by {name}", Kind.INTERVALS, rows, "share of sides with a known outcome")


def _steps(curves: dict[str, RegrowthEstimate]) -> StepChart:
    bands = []
    for label, found in curves.items():
        if label != "all":
            curve = curve_of(found.sample)
            steps = tuple(Step(step.day, step.lower, step.upper) for step in curve.steps)
            bands.append(StepBand(label, steps, curve.observed_patients, curve.until, curve.withheld))
    return StepChart("curves", "Regrowth by technique", tuple(bands), OBSERVED_AT, "patients", "days", "regrown")


if __name__ == "__main__":
    main()
