"""Referees: values kept in fixtures/reference, limits recomputed from published counts, and solvers written here."""

from math import comb, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from audit.referees.proportions import CALLS
from audit.stats.proportion import (
    Method,
    binomial_test,
    clopper_pearson,
    clopper_pearson_limits_of,
    exact_limits,
    mid_p,
    score_limits,
    wilson,
    wilson_limits_of,
    zero_event_upper,
)
from tests.audit.stats.entries import agree, entries

REFERENCE = entries("proportions")
Z = 1.959963984540054

# Counts of published studies, limits recomputed from them, in per cent to 2 decimals.
# Events, total, Wilson, Clopper-Pearson.
# Each line names the study the counts come from.
SINGLE = [
    (0, 34, (0, 10.15), (0, 10.28)),  # Y1 Leung & Lai 2005, phenol, 6 months
    (6, 802, (0.34, 1.62), (0.28, 1.62)),  # Y2 Silva 2024, phenol 45 s, 3 months
    (15, 802, (1.14, 3.06), (1.05, 3.07)),  # Y3 Silva 2024, 6 months
    (2, 350, (0.16, 2.06), (0.07, 2.05)),  # Y4 Bostanci 2001, phenol, mean 25 months
    (4, 350, (0.45, 2.90), (0.31, 2.90)),  # Y5 the same with 2 spikes
    (1, 348, (0.05, 1.61), (0.01, 1.59)),  # Y6 Karaca & Dereli 2012, excision and phenol, 24 months
    (1, 56, (0.32, 9.45), (0.05, 9.55)),  # Y7 Terzi 2015, TCA 90 %, 12 months
    (21, 111, (12.72, 27.20), (12.11, 27.45)),  # Y8 Rusmir & Salerno 2011, infection
]
ARMS = [
    (8, 58, (7.16, 24.93)), (23, 59, (27.58, 51.73)),  # X1 Bos 2007
    (7, 34, (10.35, 36.80)), (7, 29, (12.22, 42.11)),  # X2a Gerritsma-Bleeker 2002, any recurrence
    (4, 34, (4.67, 26.62)), (3, 29, (3.58, 26.39)),  # X2b the same, symptomatic
    (2, 42, (1.32, 15.79)), (7, 76, (4.53, 17.81)),  # X3 Isik 2012
    (1, 70, (0.25, 7.66)), (7, 70, (4.93, 19.23)),  # X4a Lahore 2023-24, recurrence
    (4, 70, (2.24, 13.79)), (12, 70, (10.09, 27.62)),  # X4b the same, wound infection
    (0, 46, (0, 7.71)), (6, 41, (6.88, 28.44)),  # X4c the same, age 12-35
    (1, 24, (0.74, 20.24)), (1, 29, (0.61, 17.18)),  # X4d the same, age 36-60
    (0, 31, (0, 11.03)), (4, 32, (4.97, 28.07)),  # X4e the same, women
    (3, 260, (0.39, 3.34)), (20, 109, (12.20, 26.65)),  # X5 Italian series 1990-99
    (4, 82, (1.91, 11.88)), (3, 72, (1.43, 11.55)),  # X6 Bostanci 2007, reconstructed
    (2, 54, (1.02, 12.54)), (1, 54, (0.33, 9.77)),  # X7 Muriel-Sánchez 2021, reconstruction, unverified
]  # fmt: skip


@pytest.mark.parametrize("entry", REFERENCE)
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def test_every_reference_says_where_it_comes_from():
    values = [case.values[0] for case in REFERENCE]
    assert all(entry["citation"] and entry["how_verified"] for entry in values)
    assert {entry["call"] for entry in values} == CALLS.keys()


@pytest.mark.parametrize(("events", "total", "score", "exact"), SINGLE)
def test_single_proportions_of_published_studies(events, total, score, exact):
    found, strict = wilson(events, total), clopper_pearson(events, total)
    assert (found.low * 100, found.high * 100) == pytest.approx(score, abs=0.0051)
    assert (strict.low * 100, strict.high * 100) == pytest.approx(exact, abs=0.0051)


@pytest.mark.parametrize(("events", "total", "score"), ARMS)
def test_trial_arms_of_published_studies(events, total, score):
    found = wilson(events, total)
    assert (found.low * 100, found.high * 100) == pytest.approx(score, abs=0.0051)


def bisect(rises, low=0.0, high=1.0):
    """Where `rises` turns from negative to positive."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rises(middle) < 0 else (low, middle)
    return (low + high) / 2


def at_least(events, total, rate):
    return sum(comb(total, k) * rate**k * (1 - rate) ** (total - k) for k in range(events, total + 1))


SMALL = [(events, total) for total in range(1, 41) for events in range(total + 1)]


def test_wilson_inverts_the_score_test_for_every_small_group():
    """The limits are the rates p with |x/n - p| = z sqrt(p (1 - p) / n); found here without the closed formula."""
    for events, total in SMALL:
        rate, found = events / total, wilson(events, total)

        def distance(p, rate=rate, total=total):
            return abs(rate - p) - Z * sqrt(p * (1 - p) / total)

        low = 0.0 if events == 0 else bisect(lambda p, d=distance: -d(p), 0.0, rate)
        high = 1.0 if events == total else bisect(distance, rate, 1.0)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9), (events, total)


def test_clopper_pearson_inverts_the_binomial_for_every_small_group():
    for events, total in SMALL:
        found = clopper_pearson(events, total)
        low = 0.0 if events == 0 else bisect(lambda p, x=events, n=total: at_least(x, n, p) - 0.025)
        high = 1.0 if events == total else bisect(lambda p, x=events, n=total: at_least(x + 1, n, p) - 0.975)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9), (events, total)


def test_mid_p_inverts_half_counted_tails_for_every_small_group():
    for events, total in SMALL:
        found = mid_p(events, total)

        def half_counted(p, events=events, total=total):  # P(X > x) + P(X = x) / 2
            return (at_least(events, total, p) + at_least(events + 1, total, p)) / 2

        low = 0.0 if events == 0 else bisect(lambda p, tail=half_counted: tail(p) - 0.025)
        high = 1.0 if events == total else bisect(lambda p, tail=half_counted: tail(p) - 0.975)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-12), (events, total)


def test_many_groups_at_once_are_the_same_as_one_by_one():
    events, totals = (np.array(column) for column in zip(*SMALL, strict=True))
    for of, one in ((wilson_limits_of, wilson), (clopper_pearson_limits_of, clopper_pearson)):
        for level in (0.8, 0.95, 0.998):
            found = [one(*pair, level) for pair in SMALL]
            low, high = of(events, totals, level)
            assert low == pytest.approx([single.low for single in found], abs=1e-14)
            assert high == pytest.approx([single.high for single in found], abs=1e-14)


def test_effective_sizes_need_not_be_whole():
    low, high = wilson_limits_of([1.5, 0.0], [20.25, 7.5])
    assert [(low[0], high[0]), (low[1], high[1])] == [
        pytest.approx(score_limits(1.5, 20.25), abs=1e-15),
        pytest.approx(score_limits(0.0, 7.5), abs=1e-15),
    ]
    assert exact_limits(3.0, 29.0) == pytest.approx((clopper_pearson(3, 29).low, clopper_pearson(3, 29).high))


@pytest.mark.parametrize("standard", [0.01, 0.05, 0.5, 0.93])
def test_the_binomial_test_agrees_with_another_program(standard):
    """Referee: scipy.stats.binomtest, which goes another way."""
    for events, total in ((0, 20), (20, 20), (1, 33), (3, 60), (31, 62), (50, 1000), (990, 1000), (9, 4321)):
        found = binomial_test(events, total, standard)
        assert found.p_fail == pytest.approx(binomtest(events, total, standard, "greater").pvalue, rel=1e-9, abs=1e-300)
        assert found.p_meet == pytest.approx(binomtest(events, total, standard, "less").pvalue, rel=1e-9, abs=1e-300)
        assert found.p_two_sided == pytest.approx(binomtest(events, total, standard).pvalue, rel=1e-8, abs=1e-300)


def test_too_few_units_give_no_test():
    found = binomial_test(1, 19, 0.05)
    assert not found.shown
    assert (found.p_fail, found.p_meet, found.p_two_sided) == (None, None, None)
    assert found.withheld == "too few to judge: 19 units, at least 20 are needed for a test"
    assert binomial_test(1, 20, 0.05).shown


counts = st.integers(1, 500).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))


@given(counts)
@settings(max_examples=100, deadline=None)
def test_limits_stay_within_0_and_1_and_hold_the_rate(pair):
    for found in (wilson(*pair), clopper_pearson(*pair), mid_p(*pair)):
        assert 0 <= found.low <= found.rate <= found.high <= 1


@given(counts)
@settings(max_examples=100, deadline=None)
def test_events_and_non_events_mirror_each_other(pair):
    events, total = pair
    found, mirrored = wilson(events, total), wilson(total - events, total)
    assert (found.low, found.high) == pytest.approx((1 - mirrored.high, 1 - mirrored.low), abs=1e-12)


@given(st.integers(2, 300).flatmap(lambda total: st.tuples(st.integers(0, total - 1), st.just(total))))
@settings(max_examples=100, deadline=None)
def test_one_more_event_moves_both_limits_up(pair):
    events, total = pair
    fewer, more = wilson(events, total), wilson(events + 1, total)
    assert fewer.low < more.low
    assert fewer.high < more.high


@given(counts, st.integers(2, 5))
@settings(max_examples=100, deadline=None)
def test_more_of_the_same_is_narrower(pair, times):
    events, total = pair
    once, often = wilson(events, total), wilson(events * times, total * times)
    assert often.high - often.low < once.high - once.low


def test_the_limits_are_exact_at_both_ends():
    assert wilson(0, 20).low == 0.0
    assert wilson(20, 20).high == 1.0
    assert wilson(0, 14).one_sided == pytest.approx(0.1926, abs=5e-5)
    assert wilson(14, 14).one_sided == pytest.approx(1 - 0.1926, abs=5e-5)
    assert wilson(1, 14).one_sided is None


def test_a_result_says_how_it_was_made():
    found = wilson(3, 29)
    assert found.method is Method.WILSON
    assert found.shown
    assert clopper_pearson(3, 29).method is Method.CLOPPER_PEARSON


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: wilson(0, 0), "total must be at least 1, not 0"),
        (lambda: wilson(5, 4), "events must be from 0 to 4, not 5"),
        (lambda: wilson(-1, 4), "events must be from 0 to 4, not -1"),
        (lambda: wilson(1.5, 4), "events must be a whole number, not 1.5"),
        (lambda: wilson(1, 4, 1.0), "level must be between 0 and 1, not 1.0"),
        (lambda: clopper_pearson(0, 0), "total must be at least 1, not 0"),
        (lambda: zero_event_upper(0), "total must be at least 1, not 0"),
        (lambda: score_limits(3.0, 2.5), "events must be from 0 to 2.5, not 3.0"),
        (lambda: score_limits(0.0, 0.0), "total must be finite and above 0, not 0.0"),
        (lambda: wilson(float("nan"), 4), "events must be a whole number, not nan"),
        (lambda: wilson(1, float("inf")), "total must be a whole number, not inf"),
        (lambda: mid_p(5, 4), "events must be from 0 to 4, not 5"),
        (lambda: binomial_test(1, 30, 0.0), "standard must be between 0 and 1, not 0.0"),
        (lambda: binomial_test(1, 30, float("nan")), "standard must be between 0 and 1, not nan"),
        (lambda: wilson_limits_of([1, 2], [5]), r"events must have the shape of totals, \(1,\), not \(2,\)"),
        (lambda: wilson_limits_of([1, 2], [5, 0]), r"totals\[1\] must be finite and above 0, not 0"),
        (lambda: clopper_pearson_limits_of([1, 7], [5, 6]), r"events\[1\] must be from 0 to 6, not 7"),
        (lambda: clopper_pearson_limits_of([1, np.nan], [5, 6]), r"events\[1\] must be from 0 to 6, not nan"),
    ],
)
def test_refuses_what_is_no_count(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
