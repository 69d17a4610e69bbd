"""Stratified estimates against another program, formulas written out for one stratum, and what must not change them."""

from math import exp, log, sqrt

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import fisher_exact, hypergeom
from statsmodels.stats.contingency_tables import StratifiedTable

from audit.referees.stratified import CALLS
from audit.stats.stratified import SHARED_PATIENTS, breslow_day, exact_common_odds, mantel_haenszel
from tests.audit.stats.entries import agree, entries

Z = 1.959963984540054

inner = st.tuples(st.integers(2, 40), st.integers(2, 40)).flatmap(
    lambda n: st.tuples(st.integers(1, n[0] - 1), st.just(n[0]), st.integers(1, n[1] - 1), st.just(n[1]))
)
any_table = st.tuples(st.integers(0, 20), st.integers(0, 20)).flatmap(
    lambda n: st.tuples(st.integers(0, n[0]), st.just(n[0]), st.integers(0, n[1]), st.just(n[1]))
)


@pytest.mark.parametrize("entry", entries("stratified"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def lists(tables):
    return [list(column) for column in zip(*tables, strict=True)]


def squares(tables):
    return [np.array([[x1, n1 - x1], [x0, n0 - x0]]) for x1, n1, x0, n0 in tables]


def numbers(common):
    return common.value, common.low, common.high


@given(st.lists(inner, min_size=1, max_size=6))
@settings(max_examples=80, deadline=None)
def test_agrees_with_another_program(tables):
    """Referee: statsmodels StratifiedTable."""
    found, other = mantel_haenszel(*lists(tables)), StratifiedTable(squares(tables))
    assert found.odds_ratio.value == pytest.approx(other.oddsratio_pooled)
    assert found.odds_ratio.standard_error == pytest.approx(other.logodds_pooled_se)
    assert (found.odds_ratio.low, found.odds_ratio.high) == pytest.approx(other.oddsratio_pooled_confint())
    assert found.ratio.value == pytest.approx(other.riskratio_pooled)
    for ours, corrected in ((found.test, False), (found.test_corrected, True)):
        theirs = other.test_null_odds(correction=corrected)
        distance = abs(sum(x1 - n1 * (x1 + x0) / (n1 + n0) for x1, n1, x0, n0 in tables))
        if corrected and distance < 0.5:
            assert ours.statistic == 0  # a correction never turns the distance round
        else:
            assert ours.statistic == pytest.approx(theirs.statistic, abs=1e-9)
            assert ours.p == pytest.approx(theirs.pvalue, abs=1e-9)


def test_one_stratum_is_the_crude_table():
    """Estimates of 8 of 58 against 23 of 59; with one stratum the errors are the usual ones."""
    found = mantel_haenszel([8], [58], [23], [59])
    p1, p0 = 8 / 58, 23 / 59
    assert found.difference.value == pytest.approx(p1 - p0)
    # Sato's variance is not the unpooled one, but near it.
    assert found.difference.standard_error == pytest.approx(sqrt(p1 * (1 - p1) / 58 + p0 * (1 - p0) / 59), rel=0.02)
    assert numbers(found.ratio) == pytest.approx(
        [p1 / p0 * exp(turn * Z * sqrt(1 / 8 - 1 / 58 + 1 / 23 - 1 / 59)) for turn in (0, -1, 1)]
    )
    assert numbers(found.odds_ratio) == pytest.approx(
        [8 * 36 / (50 * 23) * exp(turn * Z * sqrt(1 / 8 + 1 / 50 + 1 / 23 + 1 / 36)) for turn in (0, -1, 1)]
    )
    assert found.each[0].value == pytest.approx(p1 - p0)


@given(st.lists(inner, min_size=1, max_size=5))
@settings(max_examples=60, deadline=None)
def test_exchanged_groups_turn_everything_round(tables):
    x1, n1, x0, n0 = lists(tables)
    one, other = mantel_haenszel(x1, n1, x0, n0), mantel_haenszel(x0, n0, x1, n1)
    assert numbers(one.difference) == pytest.approx(
        (-other.difference.value, -other.difference.high, -other.difference.low)
    )
    for ours, theirs in ((one.ratio, other.ratio), (one.odds_ratio, other.odds_ratio)):
        assert numbers(ours) == pytest.approx((1 / theirs.value, 1 / theirs.high, 1 / theirs.low))
    assert one.test.statistic == pytest.approx(other.test.statistic)


@given(st.lists(any_table, min_size=1, max_size=5))
@settings(max_examples=100, deadline=None)
def test_no_number_is_ever_missing_without_a_reason(tables):
    found = mantel_haenszel(*lists(tables))
    for common in (found.difference, found.ratio, found.odds_ratio):
        assert common.withheld or common.low <= common.value <= common.high
        assert all(value is None or np.isfinite(value) for value in (*numbers(common), common.standard_error))
    for test in (found.test, found.test_corrected, found.alike):
        assert test.withheld or 0 <= test.p <= 1
    told = sorted([*found.contributing, *(left.place for left in found.left_out)])
    assert told == list(range(len(tables)))


def test_strata_that_say_nothing_are_listed_and_change_nothing():
    tables = [(8, 30, 14, 30), (5, 25, 9, 28)]
    empty = [(0, 0, 3, 12), (4, 9, 0, 0), (0, 0, 0, 0), (1, 1, 0, 0)]
    plain, more = mantel_haenszel(*lists(tables)), mantel_haenszel(*lists([empty[0], *tables, *empty[1:]]))
    for name in ("difference", "ratio", "odds_ratio", "test", "alike"):
        assert getattr(plain, name) == getattr(more, name)
    assert more.contributing == (1, 2)
    assert [(left.place, left.reason) for left in more.left_out] == [
        (0, "one group is empty"), (3, "one group is empty"), (4, "no units"), (5, "a single unit"),
    ]  # fmt: skip


def test_a_stratum_without_events_speaks_about_the_difference_only():
    tables = [(8, 30, 14, 30), (5, 25, 9, 28)]
    plain, more = mantel_haenszel(*lists(tables)), mantel_haenszel(*lists([*tables, (0, 40, 0, 35)]))
    assert more.silent == (2,)
    assert abs(more.difference.value) < abs(plain.difference.value)
    assert numbers(more.ratio) == pytest.approx(numbers(plain.ratio))
    assert numbers(more.odds_ratio) == pytest.approx(numbers(plain.odds_ratio))
    assert more.test.statistic == pytest.approx(plain.test.statistic)


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ([(0, 20, 0, 20), (0, 15, 0, 15)], "not estimable: no events in any stratum"),
        ([(5, 20, 0, 20), (2, 15, 0, 15)], "not estimable: no events to compare with"),
        ([(0, 20, 5, 20), (0, 15, 2, 15)], "interval not estimable: no events in the first group"),
        ([(0, 0, 5, 20), (3, 15, 0, 0)], "not estimable: no events in any stratum"),
    ],
)
def test_ratios_that_cannot_be_seen_say_so(tables, words):
    found = mantel_haenszel(*lists(tables)).ratio
    assert (found.withheld, found.low, found.high, found.standard_error) == (words, None, None, None)


def test_nothing_to_compare():
    found = mantel_haenszel([0, 3], [0, 15], [5, 0], [20, 0])
    assert found.difference.withheld == "not estimable: no stratum has units in both groups"
    assert found.test.withheld == "not estimable: no stratum has units with and without the event in both groups"
    silent = mantel_haenszel([0], [20], [0], [20])
    assert silent.difference.value == 0
    assert silent.difference.withheld == "interval not estimable: nothing varies within the strata"


def test_units_that_share_patients_have_estimates_but_no_intervals():
    found = mantel_haenszel([8, 5], [30, 25], [14, 9], [30, 28], independent=False)
    assert found.odds_ratio.value == pytest.approx(
        (8 * 16 / 60 + 5 * 19 / 53) / (14 * 22 / 60 + 9 * 20 / 53)
    )  # sums of products over N, written out
    for common in (found.difference, found.ratio, found.odds_ratio):
        assert (common.low, common.high, common.withheld) == (None, None, SHARED_PATIENTS)
    for test in (found.test, found.test_corrected, found.alike):
        assert (test.statistic, test.p, test.withheld) == (None, None, SHARED_PATIENTS)


def test_thin_groups_may_not_be_compared():
    found = mantel_haenszel([1, 1], [20, 20], [1, 1], [20, 20])
    assert found.difference.withheld == "too few to compare: 4 events in all, at least 5 are needed"
    assert found.difference.low is not None


@given(st.lists(inner, min_size=2, max_size=5))
@settings(max_examples=60, deadline=None)
def test_breslow_day_agrees_with_another_program(tables):
    """Referee: statsmodels StratifiedTable.test_equal_odds, which gives NaN where a margin is 0."""
    assume(all(x1 + x0 >= 5 for x1, _, x0, _ in tables))
    for tarone in (False, True):
        found = breslow_day(*lists(tables), tarone=tarone)
        expected = StratifiedTable(squares(tables)).test_equal_odds(adjust=tarone)
        assume(np.isfinite(expected.statistic))  # the referee divides by 0 where the pooled odds ratio is just 1
        assert found.statistic == pytest.approx(expected.statistic, rel=1e-6, abs=1e-9)
        assert found.p == pytest.approx(expected.pvalue, abs=1e-7)
        assert found.degrees == len(tables) - 1


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ([(8, 30, 14, 30)], "not estimable: fewer than two strata contribute"),
        (
            [(8, 30, 14, 30), (1, 30, 3, 30)],
            "too few to judge: a stratum has 4 events, at least 5 are needed in each",
        ),
        ([(8, 30, 14, 30), (20, 20, 9, 9)], "not estimable: every unit of a stratum had the event"),
        ([(0, 30, 14, 30), (0, 30, 9, 30)], "not estimable: no common odds ratio"),
    ],
)
def test_strata_are_not_tested_for_likeness_on_thin_data(tables, words):
    found = breslow_day(*lists(tables))
    assert (found.statistic, found.p, found.withheld) == (None, None, words)


def test_the_exact_common_test_of_one_stratum_is_fishers():
    """Referee: scipy.stats.fisher_exact."""
    for table in ((3, 9, 8, 11), (0, 7, 3, 6), (5, 12, 5, 9)):
        x1, n1, x0, n0 = table
        expected = fisher_exact([[x1, n1 - x1], [x0, n0 - x0]]).pvalue
        assert exact_common_odds(*lists([table])) == pytest.approx(expected)


def test_the_exact_common_test_lists_all_pairs_of_tables():
    tables = [(3, 9, 8, 11), (1, 7, 4, 6)]
    chance = {}
    for a in range(10):
        for b in range(8):
            p = hypergeom.pmf(a, 20, 11, 9) * hypergeom.pmf(b, 13, 5, 7)
            chance[a + b] = chance.get(a + b, 0.0) + p
    expected = sum(p for p in chance.values() if p <= chance[4] * (1 + 1e-7))
    assert exact_common_odds(*lists(tables)) == pytest.approx(expected)
    assert exact_common_odds([0], [5], [0], [5]) is None


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (([], [], [], []), "events_1 must hold at least 1 stratum, not 0"),
        (([1], [2, 3], [1], [2]), "totals_1 must have as many entries as events_1, 1, not 2"),
        (([1, 3], [2, 2], [1, 1], [2, 2]), "stratum 1, group 1: events must be from 0 to 2, not 3"),
        (([1], [2], [1], [0]), "stratum 0, group 0: total must be at least 1, not 0"),
        (([1], [2], [float("nan")], [2]), "stratum 0, group 0: events must be a whole number, not nan"),
    ],
)
def test_refuses_what_are_no_strata(given, words):
    for ours in (mantel_haenszel, exact_common_odds, breslow_day):
        with pytest.raises(ValueError, match=f"^{words}$"):
            ours(*given)


def test_covers_the_common_odds_ratio():
    """Five strata of 40 against 40 with other risks, common odds ratio 2; 600 seeded samples."""
    random = np.random.default_rng(20250405)
    risks, samples, hits = np.array([0.1, 0.2, 0.3, 0.15, 0.4]), 600, 0
    odds = 2 * risks / (1 - risks)
    for _ in range(samples):
        x1, x0 = random.binomial(40, odds / (1 + odds)), random.binomial(40, risks)
        found = mantel_haenszel(x1.tolist(), [40] * 5, x0.tolist(), [40] * 5).odds_ratio
        hits += log(found.low) <= log(2) <= log(found.high)
    assert 0.92 <= hits / samples <= 0.98
