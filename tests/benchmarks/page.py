"""What one page of small figures costs: fifty intervals, fifty exact tests."""

import numpy as np
from scipy.stats import boschloo_exact
from statsmodels.stats.proportion import proportion_confint

from audit.stats.exact import boschloo
from audit.stats.proportion import clopper_pearson_limits_of, wilson_limits_of
from tests.benchmarks.measuring import Table, measure, measure_once, seconds, small
from tests.benchmarks.peers import Peers

FIGURES = 50
COLUMNS = {"what": 30, "best": 11, "median": 11, "library": 11, "ours is": 10, "difference": 12}


def run(quick: bool, peers: Peers) -> None:
    """library: statsmodels one figure after the other, as pages usually ask it; scipy for the test."""
    table = Table(f"{FIGURES} figures of a page", COLUMNS)
    random = np.random.default_rng(1)
    total = random.integers(12, 180, FIGURES)
    found = random.binomial(total, 0.06)
    for name, ours, method in (
        ("Wilson limits", wilson_limits_of, "wilson"),
        ("Clopper-Pearson limits", clopper_pearson_limits_of, "beta"),
    ):
        mine = measure(lambda ours=ours: ours(found, total), 50, memory=False)
        theirs = measure(
            lambda method=method: [
                proportion_confint(one, of, method=method) for one, of in zip(found, total, strict=True)
            ],
            5,
            memory=False,
        )
        worst = float(np.abs(np.array(mine.result).T - np.array(theirs.result)).max())
        table.row(name, *_times(mine, theirs), small(worst))
    tables = [(a, m, b, n) for a, m, b, n in zip(found, total, found[::-1], total[::-1], strict=True)]
    mine = measure(lambda: [boschloo(*map(int, row)).less for row in tables], 3, memory=False)
    asked = tables[: 5 if quick else FIGURES]
    theirs = measure_once(
        lambda: [boschloo_exact([[a, b], [m - a, n - b]], alternative="less").pvalue for a, m, b, n in asked]
    )
    worst = max(abs(ours - their) for ours, their in zip(mine.result, theirs.result, strict=False))
    table.row("Boschloo, one-sided", seconds(mine.best), seconds(mine.median), seconds(theirs.best),
              f"{theirs.best * FIGURES / len(asked) / mine.best:.0f} x", small(worst))  # fmt: skip


def _times(mine, theirs) -> tuple[str, ...]:
    return seconds(mine.best), seconds(mine.median), seconds(theirs.best), f"{theirs.best / mine.best:.0f} x"
