"""Logistic GEE on patterns of patients, beside statsmodels on rows."""

import numpy as np
from statsmodels.api import GEE, cov_struct, families

from audit.stats.gee import logistic_gee
from tests.benchmarks.measuring import Table, measure, measure_once, megabytes, seconds, small
from tests.benchmarks.peers import Peers

SIZES = (1_000, 10_000, 100_000)
# As a practice's figures have it: seconds in bands, a side, a technique.
BANDS, LEVEL = 4, 1e-10
COLUMNS = {"sides": 11, "best": 11, "median": 11, "statsmodels": 13, "ours is": 10, "estimates": 11, "correlation": 13,
           "peak": 11}  # fmt: skip


def run(quick: bool, peers: Peers) -> None:
    """estimates: largest difference of a coefficient from statsmodels', with both iterated until nothing moves."""
    table = Table("Logistic GEE, one correlation within patients", COLUMNS)
    for size in SIZES[:-1] if quick else SIZES:
        design, outcome, patients = _rows(size)
        ours = measure(lambda rows=(design, outcome, patients): logistic_gee(*rows), 5)
        model = GEE(outcome, design, patients, family=families.Binomial(), cov_struct=cov_struct.Exchangeable())
        theirs = measure_once(lambda model=model: model.fit(cov_type="bias_reduced", maxiter=200, ctol=LEVEL))
        estimates = np.array(ours.result.estimates) - theirs.result.params
        table.row(
            f"{size:,}", seconds(ours.best), seconds(ours.median), seconds(theirs.best),
            f"{theirs.best / ours.best:.0f} x", small(float(np.abs(estimates).max())),
            small(float(ours.result.correlation - model.cov_struct.dep_params)), megabytes(ours.megabytes),
        )  # fmt: skip


def _rows(size: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Design, outcome and patient of each side; half the patients have two."""
    random = np.random.default_rng(size)
    patients = np.sort(random.integers(0, int(size / 1.5), size))
    band, side = random.integers(0, BANDS, size), random.integers(0, 2, size)
    design = np.column_stack([np.ones(size), *(band == one for one in range(1, BANDS)), side]).astype(float)
    prone = random.normal(0, 0.6, size)[patients]
    risk = 1 / (1 + np.exp(-(-2.2 + 0.1 * band + 0.2 * side + prone)))
    return design, (random.random(size) < risk).astype(float), patients
