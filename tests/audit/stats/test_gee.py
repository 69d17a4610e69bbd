"""GEE against statsmodels' own, closed forms for an intercept alone, and a seeded simulation."""

import numpy as np
import pytest
from scipy.stats import t as student
from statsmodels.api import GEE, cov_struct, families

from audit.referees.regression import CALLS
from audit.stats.gee import Working, logistic_gee
from audit.stats.patient_patterns import patient_patterns
from tests.audit.stats.entries import agree, entries


def sample(seed, patients=60, largest=4, correlated=1.0):
    """Invented patients with up to four units, an arm by patient and a score by unit."""
    random = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), random.integers(1, largest + 1, patients))
    arm = random.integers(0, 2, patients)[patient]
    score = random.choice([-1.0, 0.0, 1.0, 1.585], len(patient))
    design = np.column_stack([np.ones(len(patient)), arm, score])
    logit = design @ [-0.8, 0.5, -0.3] + correlated * random.normal(size=patients)[patient]
    return design, (random.random(len(patient)) < 1 / (1 + np.exp(-logit))).astype(int), patient


def statsmodels_gee(design, outcome, patients, structure=None):
    model = GEE(
        outcome, design, groups=patients, family=families.Binomial(), cov_struct=structure or cov_struct.Exchangeable()
    )
    return model.fit(cov_type="bias_reduced", ctol=1e-12, maxiter=300), model


@pytest.mark.parametrize("entry", [case for case in entries("regression") if case.values[0]["call"].startswith("gee")])
def test_the_reference_entries(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_statsmodels(seed):
    """Referee: statsmodels 0.15.0, the same estimators of correlation and dispersion."""
    design, outcome, patients = sample(seed)
    found, (theirs, model) = logistic_gee(design, outcome, patients), statsmodels_gee(design, outcome, patients)
    assert found.working is Working.EXCHANGEABLE
    assert found.estimates == pytest.approx(theirs.params, abs=1e-8)
    assert found.errors == pytest.approx(theirs.bse, abs=1e-8)
    assert found.sandwich_errors == pytest.approx(theirs.standard_errors("robust"), abs=1e-8)
    assert found.correlation == pytest.approx(model.cov_struct.dep_params, abs=1e-8)
    assert np.array(found.covariance) == pytest.approx(np.asarray(theirs.cov_robust_bc), abs=1e-8)
    assert (found.patients, found.units, found.events) == (60, len(outcome), outcome.sum())
    assert found.degrees == 57


def test_copies_of_all_patients_are_worked_on_once():
    """The same 40 patients 25 times over: as many patterns as before, and still what statsmodels finds."""
    design, outcome, patients = sample(3, patients=40)
    many = np.tile(design, (25, 1)), np.tile(outcome, 25), np.concatenate([patients + 40 * copy for copy in range(25)])
    once, often = patient_patterns(design, outcome, patients), patient_patterns(*many)
    assert len(once.times) == len(often.times)
    assert often.times.tolist() == (once.times * 25).tolist()
    found, (theirs, _) = logistic_gee(*many), statsmodels_gee(*many)
    assert found.estimates == pytest.approx(theirs.params, abs=1e-8)
    assert found.errors == pytest.approx(theirs.bse, abs=1e-8)


def test_the_order_of_rows_and_the_names_of_patients_change_no_digit():
    design, outcome, patients = sample(4)
    found = logistic_gee(design, outcome, patients)
    order = np.random.default_rng(1).permutation(len(outcome))
    names = np.array([f"patient {number:03d}" for number in patients])
    assert logistic_gee(design[order], outcome[order], patients[order]) == found
    assert logistic_gee(design, outcome, names) == found


def test_an_intercept_alone_is_the_rate_with_its_clustered_error():
    """By hand: Mancl-DeRouen multiplies each patient's residual by K / (K - 1) where all have as many units."""
    events = np.array([0, 1, 2, 0, 0, 3, 1, 0, 2, 0])
    outcome = np.concatenate([[1] * found + [0] * (3 - found) for found in events])
    found = logistic_gee(np.ones((30, 1)), outcome, np.repeat(np.arange(10), 3), Working.INDEPENDENCE)
    rate = 9 / 30
    plain = np.sqrt(((events - 3 * rate) ** 2).sum()) / (30 * rate * (1 - rate))
    assert found.estimates == pytest.approx((np.log(rate / (1 - rate)),))
    assert found.sandwich_errors == pytest.approx((plain,))
    assert found.errors == pytest.approx((plain * 10 / 9,))


def test_without_pairs_independence_is_used_and_said():
    design, outcome, patients = sample(5, largest=1)
    found, (theirs, _) = logistic_gee(design, outcome, patients), statsmodels_gee(
        design, outcome, patients, cov_struct.Independence()
    )  # fmt: skip
    assert found.working is Working.INDEPENDENCE
    assert found.reason == "0 pairs of units within patients, more than 3 are needed for a correlation"
    assert found.correlation is None
    assert found.estimates == pytest.approx(theirs.params, abs=1e-8)
    assert found.errors == pytest.approx(theirs.bse, abs=1e-8)


def test_an_impossible_correlation_makes_it_independence():
    """Exactly one of three in every patient: as unlike as can be, beyond what three units allow together."""
    outcome = np.tile([1, 0, 0], 12)
    design = np.column_stack([np.ones(36), np.tile([0.0, 1.0, 2.0], 12) + np.repeat(np.arange(12) % 3, 3)])
    patients = np.repeat(np.arange(12), 3)
    found = logistic_gee(design, outcome, patients)
    theirs, _ = statsmodels_gee(design, outcome, patients, cov_struct.Independence())
    assert found.working is Working.INDEPENDENCE
    assert found.reason.startswith("the correlation -0.")
    assert found.reason.endswith("is outside -0.500 to 1")
    assert found.estimates == pytest.approx(theirs.params, abs=1e-8)
    assert found.errors == pytest.approx(theirs.bse, abs=1e-8)


def test_separation_is_not_estimable():
    design = np.column_stack([np.ones(40), np.repeat([0.0, 1.0], 20)])
    outcome = np.concatenate([np.tile([0, 1], 10), np.zeros(20)])
    found = logistic_gee(design, outcome, np.arange(40))
    assert not found.shown
    assert found.withheld == "not estimable: fitted risks run to 0 or 1 (separation)"
    assert found.estimates == found.errors == ()


def test_no_event_at_all_is_not_estimable():
    assert not logistic_gee(np.ones((20, 1)), np.zeros(20), np.arange(20)).shown


def test_a_coefficient_that_rests_on_one_patient_is_not_estimable():
    patients = np.repeat(np.arange(12), 2)
    design = np.column_stack([np.ones(24), patients == 11])
    outcome = np.tile([0, 1], 12)
    found = logistic_gee(design, outcome, patients)
    assert found.withheld == "not estimable: a coefficient rests on one patient alone"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda x, y, k: logistic_gee(x, y[:-1], k), "outcome must hold one value for each of 8 units, not .*"),
        (lambda x, y, k: logistic_gee(x, y, k[:-1]), "patient must be a list of 8 patients, .*"),
        (lambda x, y, k: logistic_gee(x, y * 2, k), "outcome must be 0 or 1, not 2"),
        (lambda x, y, k: logistic_gee(x, np.where(y, np.nan, 0), k), "outcome must be 0 or 1, not nan"),
        (lambda x, y, k: logistic_gee(x * np.inf, y, k), "design must hold finite numbers, not NaN or infinity"),
        (lambda x, y, k: logistic_gee(np.hstack([x, x]), y, k), "design must have 4 independent columns, not 2"),
        (lambda x, y, k: logistic_gee(x, y, [1] * 8), "patients must be more than the 2 coefficients, not 1"),
        (lambda x, y, k: logistic_gee(x[:0], y[:0], k[:0]), "outcome must be a list of at least 1 unit, .*"),
        (lambda x, y, k: logistic_gee(x, y, [*k[:-1], np.nan]), "patient must name a patient in every row, not nan"),
    ],
)
@pytest.mark.filterwarnings("ignore:invalid value encountered in multiply")
def test_refuses_what_is_no_model(call, words):
    design = np.column_stack([np.ones(8), np.tile([0.0, 1.0], 4)])
    with pytest.raises(ValueError, match=f"^{words}$"):
        call(design, np.array([0, 1, 1, 0, 0, 0, 1, 1]), np.repeat(np.arange(4), 2))


def test_covers_where_a_regression_of_independent_units_does_not():
    """40 patients with 4 units and a strong common risk, arm by patient; 300 seeded samples of the log odds of arm."""
    random = np.random.default_rng(20250901)
    patients = np.repeat(np.arange(40), 4)
    arm = np.repeat(np.arange(40) % 2, 4)
    design = np.column_stack([np.ones(160), arm])
    reach, hits, naive_hits = student.ppf(0.975, 38), 0, 0
    for _ in range(300):
        # Beta-binomial with the same rate in both arms, correlation 0.4: the true log odds ratio is 0.
        outcome = random.random(160) < random.beta(0.3 * 1.5, 0.7 * 1.5, 40)[patients]
        found = logistic_gee(design, outcome, patients)
        estimate, error = found.estimates[1], found.errors[1]
        hits += abs(estimate) <= reach * error
        risk = 1 / (1 + np.exp(-design @ found.estimates))
        naive = np.linalg.inv((design * (risk * (1 - risk))[:, None]).T @ design)
        naive_hits += abs(estimate) <= 1.96 * np.sqrt(naive[1, 1])
    assert 0.92 <= hits / 300 <= 0.985
    assert naive_hits / 300 < 0.88
