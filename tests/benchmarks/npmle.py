"""The curve from raw rows, beside npsurv, surpyval and lifelines."""

import numpy as np
import numpy.typing as npt

from audit.stats.intervals import aggregate, maximal_intersections
from audit.stats.turnbull import Curve, npmle
from tests.benchmarks.data import clinic
from tests.benchmarks.measuring import Table, measure, megabytes, seconds, small
from tests.benchmarks.peers import Peers

Days = npt.NDArray[np.float64]

SIZES = (2_000, 30_000, 300_000, 3_000_000)
# Beyond these the other programs take too long to wait for.
LARGEST = {"npsurv": 300_000, "surpyval": 300_000, "lifelines": 2_000}
COLUMNS = {
    "sides": 11, "program": 22, "best": 11, "median": 11, "ours is": 11, "violation": 11, "dlogL": 10, "dF(365)": 10,
    "peak": 10,
}  # fmt: skip


def run(quick: bool, peers: Peers) -> None:
    """violation: largest derivative of the likelihood less n, as a part of n, found here anew from the masses each
    program gave; 0 or below is the maximum. dlogL, dF: log-likelihood and share by day 365, less those of npsurv, or
    less ours where it was not asked. "none": an interval (left, right] without any mass, so no likelihood at all.
    """
    table = Table("Curve of interval-censored regrowth, from raw rows", COLUMNS)
    for size in SIZES[:-1] if quick else SIZES:
        left, right = clinic(size).intervals()
        telling = (left > 0) | np.isfinite(right)
        ours = measure(lambda rows=(left, right): npmle(*rows), runs=15 if size < 1_000_000 else 7)
        fits = {"this library": (_ours(ours.result), ours.best, ours.median, ours.megabytes)}
        for name, largest in LARGEST.items():
            found = peers.fit(name, left[telling], right[telling], 3) if size <= largest else None
            if found:
                times = float(np.min(found.seconds)), float(np.median(found.seconds))
                fits[found.program] = ((found.end, found.share), *times, None)
        checks = {name: _check(left, right, *fit[0]) for name, fit in fits.items()}
        reference = next((checks[name] for name in checks if name.startswith("npsurv")), checks["this library"])
        for name, (_, best, median, peak) in fits.items():
            violation, likelihood, share = checks[name]
            table.row(
                f"{size:,}", name, seconds(best), seconds(median),
                "" if name == "this library" else f"{best / ours.best:,.1f} x", small(violation),
                small(likelihood - reference[1]), small(share - reference[2]), megabytes(peak),
            )  # fmt: skip
    _shared_day(peers)


def _shared_day(peers: Peers) -> None:
    """What becomes of a day on which one side was seen clear and another regrown."""
    left, right = np.array([0.0, 100, 100, 10]), np.array([100, 200, np.inf, 30])
    said = [f"this library {npmle(left, right).at(30).middle:.4f}"]
    for name in LARGEST:
        found = peers.fit(name, left, right, 1)
        if found:
            said.append(f"{found.program} {found.share[np.searchsorted(found.end, 30, side='right') - 1]:.4f}")
    print("(0, 100], (100, 200], (100, inf), (10, 30]: half regrew by day 30. " + ", ".join(said))


def _ours(curve: Curve) -> tuple[Days, Days]:
    return curve.end, np.cumsum(curve.mass)


def _check(left: Days, right: Days, end: Days, share: Days) -> tuple[float, float, float]:
    """Violation of the optimality condition, log-likelihood and share by day 365 of a curve with mass at `end`."""
    intervals = aggregate(left, right)
    order = np.argsort(end)
    end, reached = end[order], np.append(0.0, share[order])

    def regrown(days: Days) -> Days:
        return np.where(days == np.inf, 1.0, reached[np.searchsorted(end, days, side="right")])

    held = regrown(intervals.right) - regrown(intervals.left)
    support = maximal_intersections(intervals)
    with np.errstate(divide="ignore", invalid="ignore"):
        part, likelihood = intervals.weight / held, float(intervals.weight @ np.log(held))
    total = float(intervals.weight.sum())
    if not np.isfinite(likelihood):
        return np.inf, likelihood, float(regrown(np.array([365.0]))[0])
    changes = np.bincount(support.first, part, len(support.end) + 1)
    changes -= np.bincount(support.last, part, len(support.end) + 1)
    gradient = np.cumsum(changes)[:-1]
    return float(gradient.max() / total - 1), likelihood, float(regrown(np.array([365.0]))[0])
