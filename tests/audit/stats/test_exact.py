"""Exact tests against enumeration in whole numbers, a fine grid, other programs and published p-values."""

from fractions import Fraction
from math import comb, inf, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import barnard_exact, binom, boschloo_exact, fisher_exact
from scipy.stats.contingency import odds_ratio

from audit.referees.exact import CALLS
from audit.stats.exact import Test as Exact
from audit.stats.exact import barnard, boschloo, conditional_odds_ratio, fisher, fisher_mid_p, hypergeometric
from tests.audit.stats.entries import agree, entries

# Published counts and Fisher's two-sided p recomputed from them.
TRIALS = [
    (8, 58, 23, 59, 0.0030),  # Bos 2007
    (2, 42, 7, 76, 0.4880),  # Isik 2012
    (1, 70, 7, 70, 0.0625),  # Lahore 2023-24, recurrence
    (4, 70, 12, 70, 0.0603),  # the same, wound infection
    (0, 46, 6, 41, 0.0089),  # the same, age 12-35
    (0, 31, 4, 32, 0.1132),  # the same, women
]

tables = st.tuples(st.integers(1, 25), st.integers(1, 25)).flatmap(
    lambda n: st.tuples(st.integers(0, n[0]), st.just(n[0]), st.integers(0, n[1]), st.just(n[1]))
)


@pytest.mark.parametrize("entry", entries("exact"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def square(table):
    x1, n1, x2, n2 = table
    return [[x1, x2], [n1 - x1, n2 - x2]]


def p_values(found):
    return found.two_sided, found.less, found.greater


def listed(table):
    """P-values of Fisher and the share of the table itself, from all tables with the same margins, as fractions."""
    x1, n1, x2, n2 = table
    events = x1 + x2
    ways = {k: comb(n1, k) * comb(n2, events - k) for k in range(max(0, events - n2), min(n1, events) + 1)}
    total = comb(n1 + n2, events)

    def share(keep):
        return Fraction(sum(way for k, way in ways.items() if keep(k, way)), total)

    tails = share(lambda k, way: way <= ways[x1]), share(lambda k, _: k <= x1), share(lambda k, _: k >= x1)
    return tails, Fraction(ways[x1], total)


def test_fisher_lists_all_tables_with_the_same_margins():
    for n1 in range(1, 9):
        for n2 in range(1, 9):
            for x1 in range(n1 + 1):
                for x2 in range(n2 + 1):
                    table = (x1, n1, x2, n2)
                    tails, own = listed(table)
                    assert p_values(fisher(*table)) == pytest.approx([float(p) for p in tails], abs=1e-12), table
                    halved = [min(1.0, float(p - own / 2)) for p in tails]
                    assert p_values(fisher_mid_p(*table)) == pytest.approx(halved, abs=1e-12), table


@pytest.mark.parametrize(("x1", "n1", "x2", "n2", "p"), TRIALS)
def test_fisher_of_published_trials(x1, n1, x2, n2, p):
    assert fisher(x1, n1, x2, n2).two_sided == pytest.approx(p, abs=5.1e-5)


@pytest.mark.parametrize("table", [(60, 1000, 40, 1000), (0, 1000, 9, 800), (3, 20_000, 15, 30_000)])
def test_fisher_of_large_groups_agrees_with_another_program(table):
    """Referee: scipy.stats.fisher_exact."""
    found = fisher(*table)
    expected = [fisher_exact(square(table), alternative=name).pvalue for name in ("two-sided", "less", "greater")]
    assert p_values(found) == pytest.approx(expected, rel=1e-7)


@given(tables)
@settings(max_examples=60, deadline=None)
def test_exchanged_groups_exchange_the_sides(table):
    x1, n1, x2, n2 = table
    for test in (fisher, fisher_mid_p, boschloo, barnard):
        one, other = test(x1, n1, x2, n2), test(x2, n2, x1, n1)
        assert p_values(one) == pytest.approx((other.two_sided, other.greater, other.less), abs=1e-9)
        assert all(0 <= p <= 1 for p in p_values(one))


@given(tables)
@settings(max_examples=60, deadline=None)
def test_boschloo_is_never_above_fisher_one_sided(table):
    by_rate, by_margin = boschloo(*table), fisher(*table)
    assert by_rate.less <= by_margin.less + 1e-9
    assert by_rate.greater <= by_margin.greater + 1e-9
    assert by_rate.two_sided == pytest.approx(min(1, 2 * min(by_rate.less, by_rate.greater)))


def on_a_grid(table, further_out, rates):
    """The largest probability over a grid of common rates that a table lies at least as far out; all in plain sight."""
    _, n1, _, n2 = table
    far = np.array([[further_out((a, n1, b, n2)) for b in range(n2 + 1)] for a in range(n1 + 1)])
    first, second = (binom.pmf(np.arange(n + 1), n, rates[:, None]) for n in (n1, n2))
    return float(np.einsum("ri,ij,rj->r", first, far.astype(float), second).max())


def pooled_distance(table):
    """The score statistic of Barnard's test; 0 where nothing varies."""
    x1, n1, x2, n2 = table
    pooled = (x1 + x2) / (n1 + n2)
    spread = pooled * (1 - pooled) * (1 / n1 + 1 / n2)
    return (x1 / n1 - x2 / n2) / sqrt(spread) if spread else 0.0


@pytest.mark.parametrize("table", [(7, 15, 12, 15), (1, 13, 1, 38), (0, 8, 3, 9), (5, 16, 29, 30), (16, 24, 11, 21)])
def test_unconditional_tests_find_the_worst_common_rate(table):
    """Every table, one by one, at 4,001 rates; no shape of the region is taken for granted."""
    tail, distance, rates = listed(table)[0], pooled_distance(table), np.linspace(0, 1, 4001)
    expected = {
        (boschloo, "less"): lambda other: listed(other)[0][1] <= tail[1],
        (boschloo, "greater"): lambda other: listed(other)[0][2] <= tail[2],
        (barnard, "less"): lambda other: pooled_distance(other) <= distance + 1e-9,
        (barnard, "greater"): lambda other: pooled_distance(other) >= distance - 1e-9,
    }
    for (test, side), further_out in expected.items():
        grid = on_a_grid(table, further_out, rates)
        assert grid - 1e-12 <= getattr(test(*table), side) <= grid + 1e-5


@pytest.mark.parametrize("table", [(7, 15, 12, 15), (2, 30, 9, 31), (16, 54, 11, 41), (17, 18, 1, 16), (3, 40, 9, 41)])
def test_unconditional_tests_agree_with_another_program(table):
    """Referee: scipy.stats, whose search for the worst rate sometimes stops just short of it."""
    for ours, theirs in ((boschloo, boschloo_exact), (barnard, barnard_exact)):
        for side in ("less", "greater"):
            expected = theirs(square(table), alternative=side, n=512).pvalue
            found = getattr(ours(*table), side)
            assert found == pytest.approx(expected, abs=5e-5)
            assert found >= expected - 1e-7


def test_without_events_every_p_is_one():
    for test in (fisher, boschloo, barnard):
        for table in ((0, 12, 0, 9), (12, 12, 9, 9)):
            assert p_values(test(*table)) == pytest.approx((1, 1, 1))


def test_too_many_units_for_boschloo_are_said():
    assert boschloo(9, 200, 20, 200).test is Exact.BOSCHLOO
    found = boschloo(9, 200, 20, 201)
    assert found.test is Exact.FISHER_MID_P
    assert found.note == "200 times 201 units are too many for Boschloo's test: mid-P Fisher instead"
    assert p_values(found) == p_values(fisher_mid_p(9, 200, 20, 201))
    assert boschloo(1, 10, 90, 1991).test is Exact.FISHER_MID_P
    words = "total_1 and total_2 must have a product of at most 40000 and a sum of at most 2000, not 200 and 201"
    with pytest.raises(ValueError, match=f"^{words}$"):
        barnard(9, 200, 20, 201)


@given(tables)
@settings(max_examples=60, deadline=None)
def test_conditional_odds_ratios_agree_with_another_program(table):
    """Referee: scipy.stats.contingency.odds_ratio."""
    x1, n1, x2, n2 = table
    found = conditional_odds_ratio(*table)
    if x1 + x2 in (0, n1 + n2):
        word = "no" if x1 == 0 else "every"
        assert found.withheld == f"not estimable: {word} unit had the event"
        return
    expected = odds_ratio(np.array(square(table)))
    limits = expected.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((limits.low, limits.high), rel=1e-6)
    # Where a margin leaves a single table possible on one side, the other program gives 0 or infinity as we do.
    assert found.value == pytest.approx(expected.statistic, rel=1e-6)


def test_the_exact_limits_are_roots_of_their_polynomial():
    """Tea tasting, 3 of 4 and 1 of 4: weights 1, 16, 36, 16, 1. R prints 621.93, which misses its own equation."""
    weights = np.array([1, 16, 36, 16, 1.0])
    found = conditional_odds_ratio(3, 4, 1, 4)

    def up_to_three(ratio):
        chance = weights * ratio ** np.arange(5)
        return chance[:4].sum() / chance.sum()

    assert up_to_three(found.high) == pytest.approx(0.025, abs=1e-12)
    assert abs(up_to_three(621.9337505) - 0.025) > 1e-4


def test_conditional_odds_ratios_at_the_ends():
    low, high = conditional_odds_ratio(0, 10, 5, 10), conditional_odds_ratio(5, 10, 0, 10)
    assert (low.value, low.low) == (0, 0)
    assert (high.value, high.high) == (inf, inf)
    assert low.high == pytest.approx(1 / high.low)


def test_the_hypergeometric_adds_to_one():
    support, chance = hypergeometric(7, 5, 4)
    assert support.tolist() == [3, 4, 5]
    assert chance == pytest.approx(np.array([10, 5, 1]) * np.array([1, 4, 6]) / 36)


@pytest.mark.parametrize("test", [fisher, fisher_mid_p, boschloo, barnard, conditional_odds_ratio])
def test_refuses_what_is_no_table(test):
    with pytest.raises(ValueError, match=r"^group 1: events must be from 0 to 3, not 4$"):
        test(4, 3, 1, 3)
    with pytest.raises(ValueError, match=r"^group 2: total must be at least 1, not 0$"):
        test(1, 3, 0, 0)
    with pytest.raises(ValueError, match=r"^group 2: events must be a whole number, not 0.5$"):
        test(1, 3, 0.5, 3)
