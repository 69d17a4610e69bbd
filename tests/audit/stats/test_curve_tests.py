"""Scores against published values and the log-rank test, the permutation against all permutations, and its size."""

import json
from itertools import combinations
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from audit.referees.curves import CALLS
from audit.stats import curve_tests
from audit.stats.curve_tests import Scores, interval_scores, permutation_test, side_test
from audit.stats.intervals import aggregate, aggregate_rows
from audit.stats.kaplan_meier import log_rank
from audit.stats.turnbull import fit
from tests.benchmarks.data import clinic

REFERENCE = json.loads((Path(__file__).parents[3] / "fixtures/reference/curves.json").read_text("utf-8"))
ENTRIES = [entry for entry in REFERENCE if entry["call"].startswith("interval_log_rank")]
INF = np.inf


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["id"])
def test_agrees_with_published_values(entry):
    found = CALLS[entry["call"]](entry["input"])
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


samples = st.lists(st.tuples(st.integers(1, 10), st.booleans(), st.booleans()), min_size=4, max_size=30)


@given(samples)
@settings(max_examples=100, deadline=None)
def test_with_exact_days_suns_scores_give_observed_less_expected_of_the_log_rank_test(sample):
    day, event, chosen = np.array(sample, dtype=int).T
    assume(len(set(chosen)) == 2)
    intervals, index = aggregate_rows(day, np.where(event, day, INF))
    _, support, mass = fit(intervals)
    statistic = interval_scores(support, mass)[index][chosen == 1].sum()
    expected = log_rank(day, event == 1, chosen)
    assert statistic == pytest.approx(expected.observed[1] - expected.expected[1], abs=1e-5)


@given(st.lists(st.tuples(st.integers(0, 10), st.integers(1, 5)), min_size=2, max_size=30), st.sampled_from(Scores))
@settings(max_examples=100, deadline=None)
def test_scores_sum_to_0(sample, kind):
    left, width = np.array(sample, dtype=float).T
    intervals = aggregate(left, np.where(width > 4, INF, left + width))
    _, support, mass = fit(intervals)
    if len(mass):
        assert interval_scores(support, mass, kind) @ intervals.weight == pytest.approx(0, abs=1e-5 * len(sample))


def small(seed=3, patients=20):
    """Ten patients with one or two sides in each group; sides in the group regrow more often."""
    random = np.random.default_rng(seed)
    patient = np.sort(np.append(np.arange(patients), random.integers(0, patients, 8)))
    chosen = patient % 2 == 0
    regrown = random.random(len(patient)) < np.where(chosen, 0.7, 0.35)
    left = random.choice([0, 42, 91, 182], len(patient)).astype(float)
    return chosen, patient, np.where(regrown, left, left + 100), np.where(regrown, left + 91, INF)


@pytest.mark.parametrize("kind", list(Scores))
def test_the_p_value_is_that_of_all_permutations(kind):
    chosen, patient, left, right = small()
    intervals, index = aggregate_rows(left, right)
    _, support, mass = fit(intervals)
    scores = interval_scores(support, mass, kind)[index]
    of_patient = np.bincount(patient, scores - scores.mean())
    every = np.array([of_patient[list(places)].sum() for places in combinations(range(20), 10)])
    observed = of_patient[::2].sum()
    exact = np.mean(np.abs(every) >= abs(observed) - 1e-9)
    found = permutation_test(chosen, patient, left, right, kind)
    assert found.statistic == pytest.approx(observed)
    assert 0.02 < exact < 0.5
    assert found.p == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 9_999))


def test_drawing_types_of_patients_is_permuting_patients():
    """Counts of common types are drawn, rare ones shuffled. Both against the hypergeometric distribution."""
    value, times = np.array([-1.0, 0.0, 2.0]), np.array([60, 50, 30])
    ways = [
        comb(60, low) * comb(50, 70 - low - high) * comb(30, high)
        for low in range(61)
        for high in range(31)
        if 0 <= 70 - low - high <= 50 and abs(2 * high - low) >= 14
    ]
    exact = sum(ways) / comb(140, 70)
    rare = np.append(value[:2], [2.0] * 30), np.append(times[:2], np.ones(30, dtype=int))
    for kinds in ((value, times), rare, (np.repeat(value, times), np.ones(140, dtype=int))):
        extreme = curve_tests._extreme(*kinds, 70, 14.0, 20_000, np.random.default_rng(1))
        assert extreme / 20_000 == pytest.approx(exact, abs=4 * np.sqrt(exact / 20_000))


def test_no_p_value_is_0():
    """All of ten patients regrew early, none of ten others: no permutation goes as far, p = 1 / (B + 1)."""
    patient, chosen = np.arange(20), np.arange(20) < 10
    found = permutation_test(chosen, patient, np.where(chosen, 0, 400), np.where(chosen, 30, INF), permutations=999)
    assert found.p == 1 / 1_000
    assert found.statistic > 0


def test_other_names_other_order_and_swapped_groups_give_the_same_p():
    chosen, patient, left, right = small()
    found = permutation_test(chosen, patient, left, right)
    order = np.random.default_rng(2).permutation(len(patient))
    again = permutation_test(chosen[order], (1_000 - patient * 7)[order], left[order], right[order])
    assert again == found
    swapped = permutation_test(~chosen, patient, left, right)
    assert swapped.statistic == pytest.approx(-found.statistic)
    assert swapped.p == pytest.approx(found.p, abs=0.02)


def test_where_patients_have_sides_in_both_groups_there_is_no_test():
    chosen, patient, left, right = small()
    chosen[np.flatnonzero(np.bincount(patient)[patient] == 2)[0]] ^= True
    found = permutation_test(chosen, patient, left, right)
    assert (found.statistic, found.p) == (None, None)
    assert found.withheld == "no test: sides in both groups in 1 patient"


def test_thin_groups_are_not_tested():
    chosen, patient, left, right = small(patients=18)
    assert permutation_test(chosen, patient, left, right).withheld.startswith("too few to compare: 9 patients")
    chosen, patient, left, right = small()
    right[np.flatnonzero(np.isfinite(right))[4:]] = INF
    assert permutation_test(chosen, patient, left, right).withheld.startswith("too few to compare: 4 events")
    assert permutation_test([], [], [], []).withheld.startswith("too few to compare: 0 patients")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"permutations": 99}, "permutations must be at least 999, not 99"),
        ({"in_group": [True]}, "in_group must have one entry per side, so the shape (28,), not (1,)"),
        ({"in_group": [2] * 28}, "in_group must be true or false for each side"),
        ({"patient": [1]}, "patient must be a list of 28 patients, one per side, not of shape (1,)"),
    ],
)
def test_refuses_what_is_out_of_range(change, words):
    chosen, patient, left, right = small()
    given = {"in_group": chosen, "patient": patient, "left": left, "right": right} | change
    with pytest.raises(ValueError, match="must") as refusal:
        permutation_test(**given)
    assert str(refusal.value) == words


def test_a_test_of_sides_needs_something_that_varies():
    with pytest.raises(ValueError, match="in_group must hold sides of both kinds with different intervals"):
        side_test([1, 1], [0, 30], [30, INF])


def test_rejects_no_more_often_than_it_says_though_sides_are_alike():
    """150 seeded clinics of about 100 patients without a difference, 30 of them in the group, correlation 0.5."""
    rejected = 0
    for seed in range(150):
        found = clinic(200, seed=seed, correlation=0.5)
        test = permutation_test(found.patient < 30, found.patient, *found.intervals(), permutations=999)
        rejected += test.p is not None and test.p <= 0.05
    assert rejected <= 15  # 7.5 expected; 15 or fewer in 99.5 of 100
