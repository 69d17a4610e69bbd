"""Differences and ratios against published counts, other programs, formulas written out, and simulations."""

from math import inf, log, sqrt

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep

from audit.referees.differences import CALLS
from audit.stats.clustered import rao_scott_wilson
from audit.stats.differences import (
    Approach,
    clustered_comparison,
    katz_ratio,
    mover_difference,
    mover_ratio,
    newcombe_difference,
    rate_correlation,
    standard_error_from_limits,
)
from audit.stats.proportion import wilson
from tests.audit.stats.entries import agree, entries

# Counts of published studies, values recomputed from them: risk difference in per cent (Newcombe), ratio (logarithm).
TRIALS = [
    (8, 58, 23, 59, (-25.19, -39.56, -9.25), (0.354, 0.173, 0.726)),  # Bos 2007, recurrence at 1 year
    (2, 42, 7, 76, (-4.45, -13.72, 7.53), (0.517, 0.112, 2.377)),  # Isik 2012
    (1, 70, 7, 70, (-8.57, -17.88, -0.54), (0.143, 0.018, 1.131)),  # Lahore 2023-24, recurrence
    (4, 70, 12, 70, (-11.43, -22.46, -0.70), (0.333, 0.113, 0.984)),  # the same, wound infection
    (0, 46, 6, 41, (-14.63, -28.44, -3.70), None),  # the same, age 12-35
    (1, 24, 1, 29, (0.72, -13.43, 17.04), (1.208, 0.080, 18.3)),  # the same, age 36-60
    (0, 31, 4, 32, (-12.50, -28.07, 0.85), None),  # the same, women
    (3, 260, 20, 109, (-17.19, -25.53, -10.67), (0.063, 0.019, 0.207)),  # Italian series 1990-99
    (4, 82, 3, 72, (0.71, -7.24, 8.23), (1.171, 0.271, 5.057)),  # Bostanci 2007, reconstructed
    (2, 54, 1, 54, (1.85, -6.51, 10.81), (2.000, 0.187, 21.408)),  # Muriel-Sánchez 2021, reconstruction, unverified
]


@pytest.mark.parametrize("entry", entries("differences"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def numbers(found):
    return found.value, found.low, found.high


@pytest.mark.parametrize(("x1", "n1", "x2", "n2", "difference", "ratio"), TRIALS)
def test_differences_and_ratios_of_published_trials(x1, n1, x2, n2, difference, ratio):
    found = newcombe_difference(x1, n1, x2, n2)
    assert [100 * value for value in numbers(found)] == pytest.approx(difference, abs=0.0051)
    divided = katz_ratio(x1, n1, x2, n2)
    if ratio is None:
        assert divided.withheld == "not estimable: no event in the first group"
    else:
        assert numbers(divided) == pytest.approx(ratio, abs=0.05 if ratio[2] == 18.3 else 0.00051)


tables = st.tuples(st.integers(1, 60), st.integers(1, 60)).flatmap(
    lambda n: st.tuples(st.integers(0, n[0]), st.just(n[0]), st.integers(0, n[1]), st.just(n[1]))
)


@given(tables)
@settings(max_examples=100, deadline=None)
def test_newcombe_agrees_with_another_program(table):
    """Referee: statsmodels confint_proportions_2indep, whose hybrid score interval is right."""
    found = newcombe_difference(*table)
    expected = confint_proportions_2indep(*table, compare="diff", method="newcomb")
    assert (found.low, found.high) == pytest.approx(expected, abs=1e-12)


@given(tables)
@settings(max_examples=100, deadline=None)
def test_exchanged_groups_turn_the_difference_and_the_ratio_round(table):
    x1, n1, x2, n2 = table
    one, other = newcombe_difference(x1, n1, x2, n2), newcombe_difference(x2, n2, x1, n1)
    assert numbers(one) == pytest.approx((-other.value, -other.high, -other.low), abs=1e-12)
    assert -1 <= one.low <= one.value <= one.high <= 1
    if x1 and x2:
        one, other = katz_ratio(x1, n1, x2, n2), katz_ratio(x2, n2, x1, n1)
        assert numbers(one) == pytest.approx((1 / other.value, 1 / other.high, 1 / other.low), rel=1e-9)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ((3, 9, 4, 40), "too few to compare: 9 patients in a group, at least 10 are needed"),
        ((2, 40, 2, 40), "too few to compare: 4 events in all, at least 5 are needed"),
        ((0, 10, 0, 20), "too few to compare: 0 events in all, at least 5 are needed"),
        ((3, 10, 2, 10), ""),
    ],
)
def test_thin_groups_have_limits_but_may_not_be_compared(table, words):
    found = newcombe_difference(*table)
    assert (found.withheld, found.shown) == (words, not words)
    assert -1 <= found.low < found.high <= 1


def test_the_error_read_back_from_printed_limits_is_the_error():
    found = katz_ratio(8, 58, 23, 59)
    assert standard_error_from_limits(found.low, found.high) == pytest.approx(sqrt(1 / 8 - 1 / 58 + 1 / 23 - 1 / 59))


def test_recovered_limits_of_independent_units_are_newcombes():
    found = mover_difference(wilson(56, 70), wilson(48, 80))
    assert numbers(found) == pytest.approx(numbers(newcombe_difference(56, 70, 48, 80)), abs=1e-12)
    assert found.approach is Approach.MOVER


def quadratic_ratio(first, second, r):
    """Both limits as the formula is printed, (k -/+ sqrt(k^2 - l (2 p - l) D)) / D."""
    (pa, la, ua), (pb, lb, ub) = ((group.rate, group.low, group.high) for group in (first, second))
    d, k = ub * (2 * pb - ub), pa * pb - r * (pa - la) * (ub - pb)
    low = (k - sqrt(k * k - la * (2 * pa - la) * d)) / d
    d, k = lb * (2 * pb - lb), pa * pb - r * (ua - pa) * (pb - lb)
    return low, (k + sqrt(k * k - ua * (2 * pa - ua) * d)) / d


@given(tables, st.floats(-1, 1))
@settings(max_examples=150, deadline=None)
def test_recovered_ratios_follow_the_printed_formula(table, r):
    x1, n1, x2, n2 = table
    assume(x1 > 0)
    assume(x2 > 0)
    first, second = wilson(x1, n1), wilson(x2, n2)
    assume(abs(second.high - 2 * second.rate) > 1e-6)
    found = mover_ratio(first, second, r)
    assert (found.low, found.high) == pytest.approx(quadratic_ratio(first, second, r), rel=1e-6)
    assert 0 <= found.low <= found.value * (1 + 1e-12)
    assert found.value <= found.high * (1 + 1e-12)


@given(tables)
@settings(max_examples=100, deadline=None)
def test_recovered_ratios_of_exchanged_groups_are_inverted(table):
    x1, n1, x2, n2 = table
    assume(x1 > 0)
    assume(x2 > 0)
    one, other = mover_ratio(wilson(x1, n1), wilson(x2, n2)), mover_ratio(wilson(x2, n2), wilson(x1, n1))
    assert numbers(one) == pytest.approx((1 / other.value, 1 / other.high, 1 / other.low), rel=1e-8)


def test_a_ratio_is_steady_where_the_quadratic_becomes_a_line():
    """Where the upper limit of the second group is twice its rate, the limit is lA (2 pA - lA) / (2 k)."""
    first, second = wilson(30, 60), wilson(4, 40)
    twice = type(second)(**{**vars(second), "high": 2 * second.rate})
    found = mover_ratio(first, twice)
    assert found.low == pytest.approx(first.low * (2 * first.rate - first.low) / (2 * first.rate * second.rate))
    near = mover_ratio(first, type(second)(**{**vars(second), "high": 2 * second.rate + 1e-9}))
    assert found.low == pytest.approx(near.low, rel=1e-6)


def test_ratios_at_the_ends():
    assert numbers(mover_ratio(wilson(0, 30), wilson(6, 30)))[:2] == (0, 0)
    assert mover_ratio(wilson(6, 30), wilson(0, 30)).withheld == "not estimable: no event in the second group"
    nothing_below = rao_scott_wilson([1] + [0] * 19, [1] * 20)
    open_above = mover_ratio(wilson(6, 30), type(nothing_below)(**{**vars(nothing_below), "low": 0.0}))
    assert open_above.high == inf
    assert open_above.unbounded


def test_the_correlation_of_groups_that_share_patients():
    """Three patients with one side in each group, one in a only, one in b only; written out."""
    found = rate_correlation([1, 0, 1, 0, 0], [1, 1, 1, 1, 0], [1, 0, 0, 0, 1], [1, 1, 1, 0, 1])
    a, b = [0.5, -0.5, 0.5, -0.5, 0], [0.5, -0.5, -0.5, 0, 0.5]
    assert found == pytest.approx(np.dot(a, b) / sqrt(np.dot(a, a) * np.dot(b, b)))
    assert rate_correlation([1, 0, 0, 0], [1, 1, 0, 0], [0, 0, 1, 0], [0, 0, 1, 1]) == 0
    assert rate_correlation([0, 0], [1, 1], [1, 0], [1, 1]) == 0


def test_shared_patients_make_the_difference_narrower():
    """Twenty patients, both sides alike but for one; the same patients on both sides of the comparison."""
    events_a, totals = [1] * 6 + [0] * 14, [1] * 20
    events_b = [1] * 7 + [0] * 13
    difference, ratio = clustered_comparison(events_a, totals, events_b, totals)
    apart = mover_difference(wilson(6, 20), wilson(7, 20))
    assert difference.value == pytest.approx(apart.value)
    assert difference.high - difference.low < 0.6 * (apart.high - apart.low)
    assert ratio.value == pytest.approx(6 / 7)


def test_groups_without_an_interval_are_not_compared():
    few = rao_scott_wilson([1, 0, 0], [2, 2, 2])
    for found in (mover_difference(wilson(6, 30), few), mover_ratio(few, wilson(6, 30))):
        assert numbers(found) == (None, None, None)
        assert found.withheld.startswith("not estimable: not enough patients for a rate: 3 patients")
    thin = mover_difference(wilson(6, 30), rao_scott_wilson([1] * 8, [2] * 8))
    assert thin.withheld == "too few to compare: 8 patients in a group, at least 10 are needed"
    assert thin.low is not None


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: newcombe_difference(1, 0, 1, 2), "group 1: total must be at least 1, not 0"),
        (lambda: newcombe_difference(1, 2, 3, 2), "group 2: events must be from 0 to 2, not 3"),
        (lambda: katz_ratio(1, 2, float("nan"), 2), "group 2: events must be a whole number, not nan"),
        (lambda: newcombe_difference(1, 2, 1, 2, 0), "level must be between 0 and 1, not 0"),
        (lambda: mover_difference(wilson(1, 20), wilson(1, 20), 1.5), "correlation must be from -1 to 1, not 1.5"),
        (
            lambda: mover_difference(wilson(1, 20), wilson(1, 20, 0.9)),
            "second must have the level of first, 0.95, not 0.9",
        ),
        (
            lambda: rate_correlation([1], [1], [1, 0], [1, 1]),
            "events_b must have as many entries as events_a, 1, not 2",
        ),
        (lambda: rate_correlation([1], [1, 1], [1], [1]), "events_a must have as many entries as totals_a, 2, not 1"),
        (lambda: rate_correlation([0], [0], [1], [1]), "totals_a must hold at least 1 unit, not 0"),
        (lambda: rate_correlation([1], [1], [2], [1]), "group b, patient 0: events must be from 0 to 1, not 2"),
        (
            lambda: standard_error_from_limits(0.5, 0.5),
            "low and high must be finite, above 0 and in order, not 0.5 and 0.5",
        ),
    ],
)
def test_refuses_what_is_no_comparison(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()


def test_covers_where_the_naive_difference_does_not():
    """Two groups of 100 patients, 10 % and 20 %, correlation 0.5 within a patient; 800 seeded samples."""
    random = np.random.default_rng(20250301)
    correlation, patients, samples, rates = 0.5, 100, 800, (0.1, 0.2)
    spread = (1 - correlation) / correlation
    clustered_hits = naive_hits = 0
    for _ in range(samples):
        groups, table = [], []
        for rate in rates:
            totals = random.choice([1, 2, 3, 4], p=[0.3, 0.3, 0.2, 0.2], size=patients)
            events = random.binomial(totals, random.beta(rate * spread, (1 - rate) * spread, size=patients))
            groups.append(rao_scott_wilson(events.tolist(), totals.tolist()))
            table += [int(events.sum()), int(totals.sum())]
        found, naive = mover_difference(*groups), newcombe_difference(*table)
        clustered_hits += found.low <= rates[0] - rates[1] <= found.high
        naive_hits += naive.low <= rates[0] - rates[1] <= naive.high
    assert 0.92 <= clustered_hits / samples <= 0.98
    assert naive_hits / samples < 0.93


def test_covers_where_patients_are_in_both_groups():
    """150 patients with one side in each group and a risk of their own; a ratio of 1; 600 seeded samples."""
    random = np.random.default_rng(20250302)
    patients, samples = 150, 600
    shared, difference_hits, ratio_hits = 0.0, 0, 0
    for _ in range(samples):
        risks = random.beta(0.4, 1.6, size=patients)
        a, b = (random.binomial(1, risks).tolist() for _ in range(2))
        difference, ratio = clustered_comparison(a, [1] * patients, b, [1] * patients)
        shared += rate_correlation(a, [1] * patients, b, [1] * patients)
        difference_hits += difference.low <= 0 <= difference.high
        ratio_hits += log(ratio.low) <= 0 <= log(ratio.high)
    assert shared / samples == pytest.approx(1 / 3, abs=0.02)  # 1 / (1 + 0.4 + 1.6)
    assert 0.92 <= difference_hits / samples <= 0.98
    assert 0.92 <= ratio_hits / samples <= 0.98
