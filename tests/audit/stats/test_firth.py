"""Firth's regression against published fits, closed forms, other programs and a maximiser written here."""

import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import chi2

from audit.referees.regression import CALLS
from audit.stats.clustered import design_effect
from audit.stats.firth import logistic_firth, residual_design_effect
from audit.stats.gee import logistic_gee
from audit.stats.separation import separated_columns
from tests.audit.stats.entries import agree, entries

FIRTH = [case for case in entries("regression") if case.values[0]["call"].startswith("firth")]
PUBLISHED = {case.id: case.values[0]["input"] for case in FIRTH}


def with_intercept(columns):
    return np.column_stack([np.ones(len(columns[0])), *columns])


def published(name):
    outcome, *columns = PUBLISHED[name].values()
    return with_intercept(columns), np.array(outcome)


@pytest.mark.parametrize("entry", FIRTH)
def test_the_reference_entries(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def test_the_ordinary_fit_runs_away_where_this_one_does_not():
    """Heinze & Schemper 2002, endometrial cancer: 2.929 for NV; an ordinary fit has no finite answer."""
    from statsmodels.api import Logit

    design, outcome = published("firth-endometrial")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = Logit(outcome, design).fit(disp=0, maxiter=60)
    assert logistic_firth(design, outcome).estimates[1] == pytest.approx(2.929, abs=7e-4)
    assert theirs.params[1] > 10, "statsmodels' Logit has a finite answer under separation now: look at this test again"
    assert theirs.bse[1] > 100, "statsmodels' Logit has a useful error under separation now: look at this test again"


tables = st.tuples(*[st.integers(0, 25)] * 4).filter(lambda cells: cells[0] + cells[1] and cells[2] + cells[3])


@given(tables)
@settings(max_examples=40, deadline=None)
def test_a_two_by_two_table_gets_half_a_unit_in_each_cell(cells):
    """Saturated model: Jeffreys' prior adds 1/2 to each cell, Firth 1993."""
    events_0, clear_0, events_1, clear_1 = cells
    outcome = [1] * events_0 + [0] * clear_0 + [1] * events_1 + [0] * clear_1
    group = [0] * (events_0 + clear_0) + [1] * (events_1 + clear_1)
    logit_0, logit_1 = (np.log((x + 0.5) / (y + 0.5)) for x, y in ((events_0, clear_0), (events_1, clear_1)))
    found = logistic_firth(with_intercept([group]), outcome)
    assert found.estimates == pytest.approx((logit_0, logit_1 - logit_0), abs=1e-8)


def penalised(design, outcome, coefficients):
    logit = design @ coefficients
    risk = 1 / (1 + np.exp(-logit))
    information = (design * (risk * (1 - risk))[:, None]).T @ design
    return (outcome * logit - np.logaddexp(0, logit)).sum() + 0.5 * np.linalg.slogdet(information)[1]


@pytest.mark.parametrize("place", [1, 2])
def test_a_limit_is_where_twice_the_fall_is_the_quantile(place):
    """Every other coefficient maximised anew by another optimiser: 3.841 at both limits, and p at 0."""
    design, outcome = published("firth-quasi-separated-54")
    found = logistic_firth(design, outcome)
    others = [other for other in range(3) if other != place]

    def highest(value):
        def below(free):
            coefficients = np.zeros(3)
            coefficients[place], coefficients[others] = value, free
            return -penalised(design, outcome, coefficients)

        tight = {"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
        return -minimize(below, np.array(found.estimates)[others], method="Nelder-Mead", options=tight).fun

    assert found.likelihood == pytest.approx(penalised(design, outcome, np.array(found.estimates)), abs=1e-10)
    for limit in (found.low[place], found.high[place]):
        assert 2 * (found.likelihood - highest(limit)) == pytest.approx(chi2.ppf(0.95, 1), abs=1e-6)
    assert chi2.sf(2 * (found.likelihood - highest(0.0)), 1) == pytest.approx(found.p_values[place], abs=1e-7)


@given(st.integers(0, 10**6))
@settings(max_examples=12, deadline=None)
def test_finite_under_complete_separation_and_blind_to_the_order_of_columns(seed):
    random = np.random.default_rng(seed)
    score, noise = random.normal(size=24).round(2), random.integers(0, 2, 24)
    outcome = (score > 0).astype(int)
    assume(0 < outcome.sum() < 24)
    assume(0 < noise.sum() < 24)
    found = logistic_firth(with_intercept([score, noise]), outcome)
    turned = logistic_firth(with_intercept([noise, score]), outcome)
    assert found.shown
    assert np.isfinite(found.estimates).all()
    assert found.low[1] > 0, "the outcome rises with the score"
    for name in ("estimates", "low", "high", "p_values"):
        first, second, third = getattr(found, name)
        assert getattr(turned, name) == pytest.approx((first, third, second), rel=1e-5, abs=1e-6)


def test_the_order_of_rows_changes_no_digit():
    design, outcome = published("firth-sex2")
    order = np.random.default_rng(2).permutation(len(outcome))
    assert logistic_firth(design[order], outcome[order]) == logistic_firth(design, outcome)


def test_the_design_effect_of_an_intercept_is_that_of_the_rate():
    totals = [1, 2, 3, 4, 2, 2, 3, 1, 4, 2]
    events = [0, 2, 0, 3, 0, 0, 1, 0, 0, 1]
    outcome = np.concatenate([[1] * x + [0] * (m - x) for x, m in zip(events, totals, strict=True)]).astype(float)
    patients = np.repeat(np.arange(10), totals)
    rate = outcome.mean()
    found = residual_design_effect(np.ones((24, 1)), outcome, patients, np.array([np.log(rate / (1 - rate))]))
    assert found == pytest.approx(design_effect(events, totals))


def test_units_that_move_together_widen_the_limits_by_the_design_effect():
    design = with_intercept([np.repeat(np.arange(20) % 2, 3)])
    outcome = np.repeat(np.tile([1, 0, 0, 0, 0], 4), 3)
    patients = np.repeat(np.arange(20), 3)
    alone, together = logistic_firth(design, outcome), logistic_firth(design, outcome, patients)
    assert together.design_effect == pytest.approx(20 / 18 * 3, rel=0.05)
    assert together.approximate
    assert not alone.approximate
    assert together.estimates == alone.estimates
    for place in (0, 1):
        assert together.low[place] < alone.low[place]
        assert together.high[place] > alone.high[place]
        assert chi2.isf(together.p_values[place], 1) * together.design_effect == pytest.approx(
            chi2.isf(alone.p_values[place], 1), abs=1e-8
        )


def test_units_that_differ_within_patients_claim_nothing():
    outcome = np.tile([1, 0], 15)
    found = logistic_firth(np.ones((30, 1)), outcome, np.repeat(np.arange(15), 2))
    assert found.design_effect < 1
    assert not found.approximate
    assert found.low == logistic_firth(np.ones((30, 1)), outcome).low


def test_a_limit_beyond_all_numbers_is_no_limit():
    """The endometrial data with NV in thousandths: its upper limit of 7.855 becomes 7,855."""
    design, outcome = published("firth-endometrial")
    found = logistic_firth(design * [1, 0.001, 1, 1], outcome)
    assert found.high[1] is None
    assert found.high[3] == pytest.approx(logistic_firth(design, outcome).high[3], abs=1e-6)


def test_separated_columns_of_published_data():
    assert separated_columns(*published("firth-endometrial")) == (1,)
    assert separated_columns(*published("firth-sex2")) == (6,)


def test_an_outcome_that_never_changes_is_separated():
    assert separated_columns(np.ones((12, 1)), np.zeros(12)) == (0,)


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=8, max_size=30))
@settings(max_examples=50, deadline=None)
def test_separation_is_where_the_ordinary_fit_runs_away(rows):
    """Referee: the plain estimating equations of independent units, which settle exactly where a maximum exists."""
    first, second, outcome = np.array(rows, dtype=float).T
    design = with_intercept([first, second])
    assume(np.linalg.matrix_rank(design) == 3)
    fit = logistic_gee(design, outcome, np.arange(len(rows)))
    assert bool(separated_columns(design, outcome)) == ("separation" in fit.withheld)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda x, y: logistic_firth(x, y, level=1.0), "level must be between 0 and 1, not 1.0"),
        (lambda x, y: logistic_firth(x, y, [1] * 6), "patients must be more than the 2 coefficients, not 1"),
        (lambda x, y: logistic_firth(x[:, [0, 0]], y), "design must have 2 independent columns, not 1"),
        (lambda x, y: logistic_firth(x, [0.5] * 6), "outcome must be 0 or 1, not 0.5"),
        (lambda x, y: separated_columns(x[0], y), "design must have units and columns, .*"),
    ],
)
def test_refuses_what_is_no_model(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call(with_intercept([[0, 0, 0, 1, 1, 1]]), np.array([0, 1, 0, 1, 0, 1]))
