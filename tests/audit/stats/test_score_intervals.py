"""Score intervals against another program, a likelihood maximised here, and what the other program gets wrong."""

from math import exp, inf, log, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from statsmodels.stats.proportion import confint_proportions_2indep

from audit.stats.differences import Approach
from audit.stats.score_intervals import score_difference, score_odds_ratio, score_ratio

Z = 1.959963984540054

tables = st.tuples(st.integers(1, 60), st.integers(1, 60)).flatmap(
    lambda n: st.tuples(st.integers(0, n[0]), st.just(n[0]), st.integers(0, n[1]), st.just(n[1]))
)
inner_tables = st.tuples(st.integers(2, 60), st.integers(2, 60)).flatmap(
    lambda n: st.tuples(st.integers(1, n[0] - 1), st.just(n[0]), st.integers(1, n[1] - 1), st.just(n[1]))
)


def numbers(found):
    return found.value, found.low, found.high


def standardised(table, first_of, low, high, distance):
    """(p1 - f(p2)) over its standard error at the most likely second rate, found without any closed formula."""
    x1, n1, x2, n2 = table

    def unlikely(second):
        first = first_of(second)
        terms = ((x1, first), (n1 - x1, 1 - first), (x2, second), (n2 - x2, 1 - second))
        return -sum(count * log(max(chance, 1e-300)) for count, chance in terms if count)

    second = minimize_scalar(unlikely, bounds=(low, high), method="bounded", options={"xatol": 1e-13}).x
    first = first_of(second)
    return distance(first * (1 - first) / n1, second * (1 - second) / n2)


@given(inner_tables)
@settings(max_examples=60, deadline=None)
def test_limits_of_the_difference_are_just_not_rejected(table):
    x1, n1, x2, n2 = table
    found, factor = score_difference(*table), (n1 + n2) / (n1 + n2 - 1)
    for limit, target in ((found.low, Z), (found.high, -Z)):
        if abs(limit) == 1:
            continue
        z = standardised(
            table,
            lambda second, limit=limit: second + limit,
            max(0, -limit),
            min(1, 1 - limit),
            lambda v1, v2, limit=limit: (x1 / n1 - x2 / n2 - limit) / sqrt(factor * (v1 + v2)),
        )
        assert z == pytest.approx(target, abs=1e-4)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@given(inner_tables, st.booleans())
@settings(max_examples=60, deadline=None)
def test_ratios_agree_with_another_program(table, corrected):
    """Referee: statsmodels confint_proportions_2indep, whose score intervals for ratios without a zero are right."""
    for ours, name in ((score_ratio, "ratio"), (score_odds_ratio, "odds-ratio")):
        found = ours(*table, corrected=corrected)
        expected = confint_proportions_2indep(*table, compare=name, method="score", correction=corrected)
        assert (found.low, found.high) == pytest.approx(expected, rel=1e-4)


@given(tables, st.booleans())
@settings(max_examples=150, deadline=None)
def test_exchanged_groups_turn_everything_round(table, corrected):
    x1, n1, x2, n2 = table
    one, other = (score_difference(*t, corrected=corrected) for t in (table, (x2, n2, x1, n1)))
    assert numbers(one) == pytest.approx((-other.value, -other.high, -other.low), abs=1e-7)
    assert -1 <= one.low <= one.value <= one.high <= 1
    for ours in (score_ratio, score_odds_ratio):
        one, other = (ours(*t, corrected=corrected) for t in (table, (x2, n2, x1, n1)))
        assert one.withheld == other.withheld
        if one.value is not None:
            turned = [inf if value == 0 else 1 / value for value in (other.value, other.high, other.low)]
            assert numbers(one) == pytest.approx(turned, rel=1e-6)
            assert one.low <= one.value <= one.high


@given(tables)
@settings(max_examples=60, deadline=None)
def test_events_and_non_events_mirror_each_other(table):
    x1, n1, x2, n2 = table
    mirrored = (n1 - x1, n1, n2 - x2, n2)
    one, other = score_difference(*table), score_difference(*mirrored)
    assert numbers(one) == pytest.approx((-other.value, -other.high, -other.low), abs=1e-7)


@given(tables)
@settings(max_examples=60, deadline=None)
def test_the_correction_widens(table):
    wide, narrow = score_difference(*table), score_difference(*table, corrected=False)
    assert wide.low <= narrow.low + 1e-9
    assert narrow.high <= wide.high + 1e-9
    assert (wide.approach, narrow.approach) == (Approach.MIETTINEN_NURMINEN, Approach.MEE_KOOPMAN)


def test_empty_cells():
    none_first, none_second = (0, 20, 5, 20), (5, 20, 0, 20)
    for ours in (score_ratio, score_odds_ratio):
        assert numbers(ours(*none_first))[:2] == (0, 0)
        assert ours(*none_second).value == inf
        assert ours(*none_second).unbounded
        assert ours(*none_second).low > 0
        assert ours(0, 20, 0, 20).withheld == "not estimable: no event in either group"
    assert score_odds_ratio(20, 20, 15, 15).withheld == "not estimable: only events in either group"
    assert numbers(score_ratio(20, 20, 15, 15))[0] == 1
    assert score_difference(20, 20, 0, 20).high == 1


def test_one_unit_a_group_still_has_limits():
    for table in ((1, 1, 0, 1), (0, 1, 1, 1), (1, 1, 1, 1), (0, 1, 0, 1)):
        found = score_difference(*table)
        assert -1 <= found.low <= found.value <= found.high <= 1
        assert not found.shown


def test_very_large_groups_approach_the_normal_interval():
    """With a million in each group all intervals for a difference are d -/+ z SE but for terms of order 1 / N."""
    found = score_difference(60_000, 10**6, 50_000, 10**6)
    error = sqrt(0.06 * 0.94 / 10**6 + 0.05 * 0.95 / 10**6)
    assert (found.low, found.high) == pytest.approx((0.01 - Z * error, 0.01 + Z * error), abs=2e-7)
    ratio = score_ratio(60_000, 10**6, 50_000, 10**6)
    error = sqrt(1 / 60_000 - 1e-6 + 1 / 50_000 - 1e-6)
    assert (ratio.low, ratio.high) == pytest.approx((1.2 * exp(-Z * error), 1.2 * exp(Z * error)), rel=1e-4)


def test_the_other_programs_score_interval_for_a_difference_is_not_the_published_one():
    """Newcombe 1998, 56 of 70 against 48 of 80: 0.0528 to 0.3382; 3 of 90 twice must be symmetric."""
    assert numbers(score_difference(56, 70, 48, 80))[1:] == pytest.approx((0.0528, 0.3382), abs=6e-5)
    low, high = confint_proportions_2indep(56, 70, 48, 80, compare="diff", method="score")
    assert (low, high) == pytest.approx((0.0526, 0.3440), abs=6e-5), "statsmodels has changed: compare again"

    ours = score_difference(3, 90, 3, 90)
    assert ours.low == pytest.approx(-ours.high, abs=1e-9)
    low, high = confint_proportions_2indep(3, 90, 3, 90, compare="diff", method="score")
    assert abs(low + high) > 1e-3, "statsmodels has changed: compare again"


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_the_other_program_fails_on_a_zero_cell():
    assert score_difference(0, 20, 5, 20).low < 0
    assert numbers(score_odds_ratio(0, 20, 5, 20))[:2] == (0, 0)
    for compare in ("diff", "odds-ratio"):
        try:
            limits = confint_proportions_2indep(0, 20, 5, 20, compare=compare, method="score")
        except Exception:  # whichever it is, there are no limits
            limits = None
        assert limits is None, f"statsmodels now gives {limits} for {compare}: compare again"


@pytest.mark.parametrize("ours", [score_difference, score_ratio, score_odds_ratio])
def test_refuses_what_is_no_table(ours):
    with pytest.raises(ValueError, match=r"^group 2: total must be at least 1, not 0$"):
        ours(1, 2, 0, 0)
    with pytest.raises(ValueError, match=r"^level must be between 0 and 1, not 2$"):
        ours(1, 2, 1, 3, 2)
