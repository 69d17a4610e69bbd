"""A thousand refits to patients drawn again, beside a loop of npsurv fits."""

import numpy as np

from audit.stats.bootstrap import REPORTED_DAYS, regrowth
from audit.stats.constrained_newton import maximise, run_masses
from audit.stats.replicates import fit_draws, replicate_shares
from audit.stats.samples import Sample, sample_of
from tests.benchmarks.data import clinic
from tests.benchmarks.measuring import Table, measure_once, megabytes, peak, seconds, small
from tests.benchmarks.peers import Peers

SIZES = (2_000, 30_000, 3_000_000)
REPLICATES, COLD = 1_000, 20
# Fits of npsurv that are timed and multiplied, and the largest sample it is asked for.
ASKED, LARGEST = 20, 30_000
COLUMNS = {
    "sides": 11, "patients": 11, "types": 9, "1,000 fits": 12, "worst gap": 11, "cold dlogL": 12, "npsurv loop": 13,
    "ours is": 11, "peak": 11,
}  # fmt: skip


def run(quick: bool, peers: Peers) -> None:
    """Times hold everything from raw rows to the limits. cold dlogL: of 20 of the fits, the largest difference in
    log-likelihood from a fit without a start, as a part of it. npsurv loop: 20 of its fits to drawn patients, times 50.
    """
    table = Table(f"{REPLICATES:,} bootstrap replicates of patients", COLUMNS)
    for size in SIZES[:-1] if quick else SIZES:
        found = clinic(size)
        left, right = found.intervals()
        regrowth(*(values[:200] for values in (found.patient, left, right)))  # once to warm up
        ours = measure_once(lambda rows=(found.patient, left, right): regrowth(*rows, REPORTED_DAYS, REPLICATES))
        sample = sample_of(found.patient, left, right)
        held = peak(lambda rows=(found.patient, left, right): _few(*rows))
        loop = None
        if size <= LARGEST:
            asked = peers.refit("npsurv", [_draw(found.patient, left, right, seed) for seed in range(ASKED)])
            loop = float(np.sum(asked.seconds)) / ASKED * REPLICATES if asked else None
        table.row(
            f"{size:,}", f"{sample.patients:,}", f"{len(sample.types.multiplicity):,}", seconds(ours.best),
            small(ours.result.worst_gap), small(_cold(sample)), seconds(loop) if loop else "",
            f"{loop / ours.best:,.0f} x" if loop else "", megabytes(held),
        )  # fmt: skip


def _cold(sample: Sample) -> float:
    """The largest relative difference in log-likelihood between draws fitted as the bootstrap does and from nothing."""
    random, types, worst = np.random.default_rng(1), sample.types, 0.0
    for _ in range(COLD):
        drawn = random.multinomial(types.patients, types.multiplicity / types.patients)
        weight = types.interval_weights(drawn, len(sample.intervals.left))
        supports, masses, _ = fit_draws(sample, weight[None, :])
        kept = weight > 0
        first, last = supports[0].first[kept], supports[0].last[kept]
        cold = maximise(first, last, weight[kept], len(supports[0].ends)).mass
        warm, from_start = (weight[kept] @ np.log(run_masses(first, last, mass)) for mass in (masses[0], cold))
        worst = max(worst, abs(warm - from_start) / abs(from_start))
    return worst


def _draw(patient, left, right, seed):
    """Rows of patients drawn with replacement, without the rows that say nothing."""
    random = np.random.default_rng(seed)
    order = np.argsort(patient, kind="stable")
    size = np.bincount(patient)
    begin = np.cumsum(size) - size
    drawn = random.integers(0, len(size), len(size))
    rows = order[np.concatenate([np.arange(begin[one], begin[one] + size[one]) for one in drawn])]
    rows = rows[(left[rows] > 0) | np.isfinite(right[rows])]
    return left[rows], right[rows]


def _few(patient, left, right):
    """Everything that a bootstrap holds at once, with few draws: their number makes no difference to memory."""
    sample = sample_of(patient, left, right)
    return replicate_shares([sample], sample.types, REPORTED_DAYS, COLD, np.random.default_rng(1))
