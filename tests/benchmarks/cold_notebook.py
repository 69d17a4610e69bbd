"""The same file as somebody would work through it in a notebook: a loop over the sides, the text-book EM of the curve,
a loop of refits, a bar chart with matplotlib. Times a few refits and says for how long all would go on. Prints JSON.

    python -m tests.benchmarks.cold_notebook FILE FOLDER TIMED
"""

import json
import sys
import time

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from statsmodels.stats.proportion import proportion_confint

from tests.benchmarks.cold_ours import CLOSES, GROUPS, OPENS
from tests.benchmarks.notebook import risk

REPLICATES = 1_000


def main() -> None:
    begun = time.perf_counter()
    rows = pd.read_csv(sys.argv[1])
    sides = rows.groupby("side").apply(_side, include_groups=False)
    known = sides[(sides["followed_days"] >= CLOSES) & (sides["event"] | sides["late"])]
    told = {}
    for name in GROUPS:
        told[name] = [(value, int(own["event"].sum()), len(own)) for value, own in known.groupby(name)]
        limits = [proportion_confint(events, total, method="wilson") for _, events, total in told[name]]
        plt.figure()
        plt.bar([str(row[0]) for row in told[name]], [row[1] / row[2] for row in told[name]])
        plt.plot([low for low, _ in limits], "k_")
        plt.savefig(f"{sys.argv[2]}/{name}.svg")
    every = risk(sides)
    fits = [risk(own) for _, own in sides.groupby("technique")]
    once = time.perf_counter() - begun
    begun, timed = time.perf_counter(), int(sys.argv[3])
    for seed in range(timed):
        drawn = _drawn(sides, seed)
        [risk(drawn), *(risk(own) for _, own in drawn.groupby("technique"))]
    refits = (time.perf_counter() - begun) / timed * REPLICATES
    print(json.dumps({"once": once, "refits": refits, "risk": every, "fits": fits, "counted": told}, default=str))


def _side(own: pd.DataFrame) -> pd.Series:
    grown = own[own["extent"] == "spicule"]
    first = grown["day"].min() if len(grown) else np.inf
    clear = own[(own["extent"] == "none") & (own["day"] < first)]
    late = ((own["extent"] == "none") & (own["day"] >= OPENS)).any()
    kept = own.iloc[0][["patient", "followed_days", *GROUPS]]
    left = clear["day"].max() if len(clear) else 0.0
    return pd.concat([kept, pd.Series({"left": left, "right": first, "event": first <= CLOSES, "late": late})])


def _drawn(sides: pd.DataFrame, seed: int) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    own = {patient: rows for patient, rows in sides.groupby("patient")}
    patients = list(own)
    return pd.concat([own[patient] for patient in random.choice(patients, len(patients))])


if __name__ == "__main__":
    main()
