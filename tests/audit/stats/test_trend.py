"""Trends against regression of another program, enumeration of tables, and what must not change them."""

from itertools import product
from math import comb, log2, nan

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import chi2_contingency, pearsonr

from audit.referees.trend import CALLS
from audit.stats.exact import fisher
from audit.stats.trend import TrendTest, cochran_armitage, exact_trend, exposure_scores, trend
from tests.audit.stats.entries import agree, entries

classes = st.lists(
    st.integers(1, 30).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total))), min_size=2, max_size=6
)


@pytest.mark.parametrize("entry", entries("trend"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def units(events, totals, scores):
    hits = np.concatenate([[1] * x + [0] * (n - x) for x, n in zip(events, totals, strict=True)])
    return np.repeat(scores, totals), hits


@given(classes)
@settings(max_examples=80, deadline=None)
def test_the_chi_square_is_the_squared_correlation_times_the_number_of_units(rows):
    """Referee: scipy.stats.pearsonr on single units."""
    events, totals = zip(*rows, strict=True)
    assume(0 < sum(events) < sum(totals))
    scores = [log2(place) for place in range(1, len(rows) + 1)]
    found = cochran_armitage(events, totals, scores)
    r = pearsonr(*units(events, totals, scores)).statistic
    assert found.chi_square == pytest.approx(sum(totals) * r**2, abs=1e-9)
    assert found.mantel == pytest.approx((sum(totals) - 1) * r**2, abs=1e-9)
    assert found.z == pytest.approx(np.sqrt(sum(totals)) * r, abs=1e-9)


def test_two_classes_are_pearsons_chi_square():
    """Referee: scipy.stats.chi2_contingency."""
    found = cochran_armitage([12, 5], [60, 70], [0, 7])
    expected = chi2_contingency([[12, 48], [5, 65]], correction=False)
    assert (found.chi_square, found.p) == pytest.approx((expected.statistic, expected.pvalue))


@given(classes, st.floats(-50, 50), st.floats(0.1, 50))
@settings(max_examples=80, deadline=None)
def test_the_scale_of_the_scores_and_the_order_of_classes_are_irrelevant(rows, shift, scale):
    events, totals = zip(*rows, strict=True)
    assume(0 < sum(events) < sum(totals))
    scores = list(range(len(rows)))
    plain = cochran_armitage(events, totals, scores)
    moved = cochran_armitage(events, totals, [shift + scale * score for score in scores])
    turned = cochran_armitage(events[::-1], totals[::-1], scores)
    backwards = cochran_armitage(events[::-1], totals[::-1], scores[::-1])
    assert moved.z == pytest.approx(plain.z, abs=1e-7)
    assert turned.z == pytest.approx(-plain.z, abs=1e-9)
    assert backwards.z == pytest.approx(plain.z, abs=1e-9)


def listed(events, totals, scores):
    """Two-sided p from all tables with the same number of events, in whole numbers of ways."""
    expected = sum(events) * np.dot(totals, scores) / sum(totals)
    distance = abs(np.dot(events, scores) - expected)
    far = every = 0
    for cells in product(*[range(total + 1) for total in totals]):
        if sum(cells) == sum(events):
            ways = np.prod([float(comb(n, x)) for n, x in zip(totals, cells, strict=True)])
            every += ways
            far += ways * (abs(np.dot(cells, scores) - expected) >= distance - 1e-9)
    return far / every


@given(
    st.lists(
        st.integers(1, 7).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total))),
        min_size=2,
        max_size=4,
    )
)
@settings(max_examples=60, deadline=None)
def test_the_exact_test_lists_all_tables(rows):
    events, totals = zip(*rows, strict=True)
    assume(0 < sum(events) < sum(totals))
    for scores in ([log2(place) for place in (1, 2, 3, 5)], [0, 1, 2, 3]):
        own = scores[: len(rows)]
        assert exact_trend(events, totals, own).p == pytest.approx(listed(events, totals, own), abs=1e-9)


def test_the_exact_test_of_two_equal_groups_is_fishers():
    """With equal groups both tails are alike, so both ways of being two-sided meet."""
    found = exact_trend([2, 9], [40, 40], [0, 1])
    assert found.p == pytest.approx(fisher(2, 40, 9, 40).two_sided)


def test_exact_and_approximate_agree_on_many_events():
    found, other = exact_trend([20, 30, 25, 40], [400] * 4, [1, 2, 3, 4]), cochran_armitage(
        [20, 30, 25, 40], [400] * 4, [1, 2, 3, 4]
    )  # fmt: skip
    assert found.p == pytest.approx(other.p, abs=0.003)


def test_the_exact_test_holds_its_level():
    """Rates alike in three classes, about 6 events; 1,000 seeded samples."""
    random = np.random.default_rng(20250506)
    rejected = 0
    for _ in range(1000):
        events = random.binomial([40, 50, 30], 0.05).tolist()
        found = trend(events, [40, 50, 30], seconds=[30, 60, 120])
        rejected += found.p is not None and found.p <= 0.05
    assert rejected <= 65


def test_exposures_are_scored_by_doubling():
    assert exposure_scores([30, 60, 120, 240]) == (-1, 0, 1, 2)
    by_seconds = trend([5, 9, 14], [80, 80, 80], seconds=[30, 60, 120])
    by_scores = trend([5, 9, 14], [80, 80, 80], scores=[1, 2, 3])
    assert by_seconds.z == pytest.approx(by_scores.z)
    assert by_seconds.test is TrendTest.COCHRAN_ARMITAGE
    assert not by_seconds.exploratory


@pytest.mark.parametrize(
    ("events", "totals", "words"),
    [
        ([3, 2, 4], [40, 40, 40], "exploratory: 9 events, at least 10 are needed"),
        ([30, 45], [100, 100], "exploratory: 2 classes, at least 3 are needed"),
        ([30, 0, 45], [100, 0, 100], "exploratory: 2 classes, at least 3 are needed"),
        ([1, 0, 0], [40, 40, 40], "exploratory: 1 event, at least 10 are needed"),
    ],
)
def test_thin_data_are_tested_exactly_and_called_exploratory(events, totals, words):
    found = trend(events, totals, scores=list(range(len(events))))
    assert (found.test, found.exploratory) == (TrendTest.EXACT, words)
    assert 0 < found.p <= 1
    assert found.shown
    assert cochran_armitage(events, totals, list(range(len(events)))).exploratory == words


@pytest.mark.parametrize(
    ("events", "totals", "scores", "words"),
    [
        ([], [], [], "no cases"),
        ([0, 0], [0, 0], [1, 2], "no cases"),
        ([2, 0], [9, 0], [1, 2], "not estimable: a trend needs at least two classes with different scores"),
        ([2, 3], [9, 8], [1, 1], "not estimable: a trend needs at least two classes with different scores"),
        ([0, 0], [9, 8], [1, 2], "not estimable: no unit had the event"),
        ([9, 8], [9, 8], [1, 2], "not estimable: every unit had the event"),
    ],
)
def test_a_trend_that_cannot_be_seen_says_so(events, totals, scores, words):
    for ours in (cochran_armitage, exact_trend, lambda x, n, s: trend(x, n, scores=s)):
        found = ours(events, totals, scores)
        assert (found.z, found.p, found.chi_square, found.test) == (None, None, None, TrendTest.NONE)
        assert (found.withheld, found.shown) == (words, False)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: trend([1], [2]), "either seconds or scores must be given, not both and not neither"),
        (
            lambda: trend([1], [2], seconds=[30], scores=[1]),
            "either seconds or scores must be given, not both and not neither",
        ),
        (lambda: trend([1, 1], [2, 2], seconds=[30, 0]), r"seconds\[1\] must be finite and above 0, not 0"),
        (lambda: trend([1, 1], [2, 2], seconds=[nan, 30]), r"seconds\[0\] must be finite and above 0, not nan"),
        (lambda: trend([1, 1], [2, 2], scores=[1, nan]), r"scores\[1\] must be finite, not nan"),
        (lambda: trend([1, 1], [2], scores=[1, 2]), "totals must have as many entries as events, 2, not 1"),
        (lambda: trend([1, 1], [2, 2], scores=[1]), "scores must have as many entries as events, 2, not 1"),
        (lambda: trend([1, 3], [2, 2], scores=[1, 2]), "class 1: events must be from 0 to 2, not 3"),
        (lambda: trend([1, 1], [2, 0], scores=[1, 2]), "class 1: total must be at least 1, not 0"),
        (
            lambda: exact_trend([20] * 8, [400] * 8, [log2(s) for s in (30, 45, 61, 77, 91, 121, 151, 181)]),
            "events must give at most 200000 different sums of scores; 160 in 8 classes give more",
        ),
    ],
)
def test_refuses_what_is_no_table_of_classes(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
