"""CUSUM: weights, run lengths against a lattice written here and seeded simulation, maturing, VLAD."""

from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import betabinom

from audit.referees.monitoring import CALLS
from audit.stats.cusum import PatientDay, any_side_risk, cusum, monitoring, vlad, weights
from audit.stats.run_length import average_run_length, choose_limit, describe_limit, false_alarm_chance
from tests.audit.stats.entries import agree, entries

CUSUM = [case for case in entries("monitoring") if case.values[0]["call"].startswith(("cusum", "any_side"))]


@pytest.mark.parametrize("entry", CUSUM)
def test_the_reference_entries(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


@given(st.floats(0.005, 0.6), st.floats(0.2, 5).filter(lambda ratio: abs(ratio - 1) > 0.01))
@settings(max_examples=100, deadline=None)
def test_weights_are_the_log_likelihood_ratio_of_the_changed_odds(risk, ratio):
    changed = ratio * risk / (1 - risk + ratio * risk)
    assert weights(risk, ratio) == pytest.approx((log(changed / risk), log((1 - changed) / (1 - risk))), abs=1e-12)


outcomes = st.lists(st.tuples(st.booleans(), st.floats(0.01, 0.5)), min_size=1, max_size=80)


@given(outcomes, st.sampled_from([2.0, 0.5]))
@settings(max_examples=100, deadline=None)
def test_the_sum_is_never_below_0_and_restarts_after_a_signal(units, ratio):
    events, risks = zip(*units, strict=True)
    found = cusum(events, risks, 1.5, ratio)
    assert min(found.values) >= 0
    assert found.signals == tuple(place for place, value in enumerate(found.values) if value >= 1.5 - 1e-12)
    before = 0.0
    for place, value in enumerate(found.values):
        step = weights(risks[place], ratio)[0 if events[place] else 1]
        assert value == pytest.approx(max(0.0, before + step), abs=1e-11)
        before = 0.0 if place in found.signals else value


def lattice_run_length(clears_per_event, risk, limit_in_clears):
    """Mean run length where an event weighs exactly a whole number of non-events: a finite chain of whole sums."""
    matrix = np.eye(limit_in_clears)
    for state in range(limit_in_clears):
        matrix[state, max(0, state - 1)] -= 1 - risk
        if state + clears_per_event < limit_in_clears:
            matrix[state, state + clears_per_event] -= risk
    return np.linalg.solve(matrix, np.ones(limit_in_clears))[0]


@pytest.mark.parametrize(("risk", "ratio", "clears"), [(0.05, 12, 60), (0.04, 17, 90), (0.15, 5, 20), (0.3, 2, 9)])
def test_enumeration_is_the_finite_lattice_where_the_weights_are_commensurable(risk, ratio, clears):
    """Brook & Evans 1972: the chain solved directly."""

    def distance(odds):
        event, clear = weights(risk, odds)
        return event / -clear - ratio

    odds = brentq(distance, 1.0001, 60, xtol=1e-15)
    limit = clears * -weights(risk, odds)[1]
    changed = odds * risk / (1 - risk + odds * risk)
    assert average_run_length([risk], limit, odds) == pytest.approx(lattice_run_length(ratio, risk, clears), rel=1e-8)
    found = average_run_length([risk], limit, odds, odds)
    assert found == pytest.approx(lattice_run_length(ratio, changed, clears), rel=1e-8)


def rounded_run_length(risk, limit, points):
    """The usual short cut: sums rounded to the nearest of so many points."""
    event, clear = weights(risk)
    matrix = np.eye(points)
    for state in range(points):
        for step, chance in ((event, risk), (clear, 1 - risk)):
            target = max(0, round(state + step * points / limit))
            if target < points:
                matrix[state, target] -= chance
    return np.linalg.solve(matrix, np.ones(points))[0]


def test_rounding_to_the_nearest_point_is_wrong_and_sharing_between_two_is_not():
    """Risk 2 %, limit 3: rounded to 500 or 1,000 points the run length is out by more than 20 %."""
    exact = average_run_length([0.02], 3.0)
    shared = average_run_length([0.02, 0.02 + 1e-12], 3.0)
    assert shared == pytest.approx(exact, rel=0.003)
    assert abs(rounded_run_length(0.02, 3.0, 500) / exact - 1) > 0.20
    assert abs(rounded_run_length(0.02, 3.0, 1000) / exact - 1) > 0.20


@pytest.mark.parametrize(("risk", "limit"), [(0.05, 3.5), (0.06, 3.0), (0.02, 3.0)])
def test_the_grid_is_within_three_in_a_thousand_of_one_risk(risk, limit):
    for true in (1.0, 2.0):
        exact, grid = (average_run_length(risks, limit, 2.0, true) for risks in ([risk], [risk, risk + 1e-12]))
        assert grid == pytest.approx(exact, rel=0.003)


def test_a_finer_grid_says_the_same_of_several_risks(monkeypatch):
    usual = average_run_length([0.03, 0.05, 0.12], 2.5)
    monkeypatch.setattr("audit.stats.run_length.GRID", 4_000)
    assert average_run_length([0.03, 0.05, 0.12], 2.5) == pytest.approx(usual, rel=0.003)


def simulated(risks, limit, units, runs, seed):
    random = np.random.default_rng(seed)
    steps = np.array([weights(risk) for risk in risks])
    total, alive = np.zeros(runs), np.ones(runs, dtype=bool)
    for _ in range(units):
        kind = random.integers(0, len(risks), runs)
        event = random.random(runs) < np.array(risks)[kind]
        total = np.maximum(0, total + np.where(event, steps[kind, 0], steps[kind, 1]))
        alive &= total < limit
    return 1 - alive.mean()


@pytest.mark.parametrize(("risks", "limit"), [([0.05], 3.0), ([0.03, 0.05, 0.12], 2.5)])
def test_false_alarms_are_as_frequent_as_in_a_simulation(risks, limit):
    """20,000 seeded runs of 300 units; three standard errors of a share near 0.2 are 0.0085."""
    assert false_alarm_chance(risks, limit, 300) == pytest.approx(simulated(risks, limit, 300, 20_000, 7), abs=0.0085)


def test_the_chosen_limit_is_the_lowest_that_keeps_the_chance():
    found = choose_limit([0.05], 200, 0.05)
    assert found.limit == 3.5
    assert found.false_alarm == false_alarm_chance([0.05], 3.5, 200) <= 0.05 < false_alarm_chance([0.05], 3.4, 200)
    assert (found.in_control, found.shifted) == pytest.approx((2668.05, 161.65), abs=0.0051)
    assert found.exact
    assert not describe_limit([0.05, 0.08], 3.5, 200).exact


def test_a_chart_for_better_odds_signals_sooner_when_they_are_better():
    found = describe_limit([0.2], 2.0, 100, 0.5)
    assert found.shifted < found.in_control


def test_one_unit_can_signal_where_the_limit_is_low():
    """An event weighs 0.644: a limit of 0.6 is reached by the first event, so the run is geometric."""
    assert average_run_length([0.05], 0.6) == pytest.approx(20)
    assert false_alarm_chance([0.05], 0.6, 3) == pytest.approx(1 - 0.95**3)


@given(st.integers(1, 12), st.floats(0.01, 0.5), st.floats(0.001, 0.95))
@settings(max_examples=80, deadline=None)
def test_the_risk_of_a_patient_is_beta_binomial(sides, rate, correlation):
    """Referee: scipy's betabinom."""
    spread = (1 - correlation) / correlation
    found = any_side_risk(sides, rate, correlation)
    assert found == pytest.approx(1 - betabinom.pmf(0, sides, rate * spread, (1 - rate) * spread), abs=1e-10)
    assert rate - 1e-12 <= found <= any_side_risk(sides, rate) + 1e-12


def test_sides_that_are_independent_or_all_one():
    assert any_side_risk(3, 0.05) == pytest.approx(1 - 0.95**3)
    assert any_side_risk(1, 0.05, 0.7) == pytest.approx(0.05)
    assert any_side_risk(8, 0.05, 0.999999) == pytest.approx(0.05, abs=1e-5)


def test_vlad_is_expected_minus_observed():
    assert vlad([False, True, False], [0.1, 0.2, 0.3]) == pytest.approx((0.1, -0.7, -0.4))


DAYS = [
    PatientDay(300, 0.05, None),
    PatientDay(100, 0.05, True),
    PatientDay(200, 0.10, False),
    PatientDay(620, 0.05, True),  # known at once, but its clear neighbours are not
    PatientDay(575, 0.05, True),  # matures on day 1000 exactly
]


def test_units_enter_when_mature_in_the_order_of_operation():
    found = monitoring(DAYS, 1000)
    assert found.days == (100, 200, 575)
    assert (found.unknown, found.immature) == (1, 1)
    assert found.known == cusum([True, False, True], [0.05, 0.10, 0.05])
    assert found.unknown_as_clear == cusum([True, False, False, True], [0.05, 0.10, 0.05, 0.05])
    assert found.vlad == pytest.approx((-0.95, -0.85, -1.80))
    assert monitoring(DAYS, 999).days == (100, 200)
    assert monitoring(DAYS[::-1], 1000) == found


@pytest.mark.parametrize("days", [[], [PatientDay(900, 0.05, True)], [PatientDay(100, 0.05, None)]])
def test_without_a_mature_known_unit_there_is_no_chart(days):
    found = monitoring(days, 1000)
    assert not found.shown
    assert found.withheld == "no operation day is mature with a known status yet"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: weights(0.0), "expected must be between 0 and 1, not 0.0"),
        (lambda: weights(0.1, 1.0), "odds_ratio must be finite, above 0 and not 1, not 1.0"),
        (lambda: cusum([True], [0.1, 0.2]), "expected must hold one risk for each of 1 outcomes, not 2"),
        (lambda: cusum([True], [0.1], 0.0), "limit must be finite and above 0, not 0.0"),
        (lambda: vlad([True], [1.0]), "expected must be between 0 and 1, not 1.0"),
        (lambda: any_side_risk(0, 0.1), "sides must be a whole number, at least 1, not 0"),
        (lambda: any_side_risk(2, 0.1, 1.0), "correlation must be from 0 to below 1, not 1.0"),
        (lambda: average_run_length([], 3.0), "expected must hold at least 1 risk, not 0"),
        (lambda: average_run_length([float("nan")], 3.0), "expected must be between 0 and 1, not nan"),
        (lambda: average_run_length([0.1], 3.0, 2.0, 0.0), "true_odds_ratio must be finite and above 0, not 0.0"),
        (lambda: false_alarm_chance([0.1], 3.0, 0), "units must be a whole number, at least 1, not 0"),
        (lambda: choose_limit([0.1], 100, 0.0), "chance must be between 0 and 1, not 0.0"),
        (lambda: monitoring(DAYS, 600), "operated must be at or before the cut-off 600, not 620"),
    ],
)
def test_refuses_what_is_no_chart(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
