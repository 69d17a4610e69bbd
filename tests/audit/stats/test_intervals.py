"""Intervals from findings, their aggregation, and maximal intersections against a search over all pairs of ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.stats import intervals as module
from audit.stats.intervals import aggregate, aggregate_rows, from_findings, maximal_intersections

INF = np.inf


def found(*findings, sides=1, until=INF):
    """Findings as (side, day, regrown)."""
    side, day, regrown = zip(*findings, strict=True) if findings else ((), (), ())
    return from_findings(np.array(side, dtype=int), day, np.array(regrown, dtype=bool), sides, until)


def pairs(result):
    return list(zip(result.left.tolist(), result.right.tolist(), strict=True))


def test_the_first_regrown_finding_ends_the_interval_and_the_last_clear_one_before_it_begins_it():
    result = found((0, 42, False), (0, 7, False), (0, 190, True), (0, 91, False), (0, 365, True))
    assert pairs(result) == [(91, 190)]


def test_sides_without_regrowth_without_reviews_and_regrown_at_the_first_review():
    result = found((0, 42, False), (0, 365, False), (2, 42, True), sides=3)
    assert pairs(result) == [(365, INF), (0, INF), (0, 42)]


def test_a_clear_finding_after_a_regrown_one_changes_nothing_and_is_flagged():
    result = found((0, 42, True), (0, 91, False), (1, 91, False), sides=2)
    assert pairs(result) == [(0, 42), (91, INF)]
    assert result.clear_after_regrown.tolist() == [0]


def test_regrown_wins_over_clear_on_one_day_and_is_flagged():
    result = found((0, 42, False), (0, 42, True))
    assert pairs(result) == [(0, 42)]
    assert result.both_on_one_day.tolist() == [0]
    assert not len(result.clear_after_regrown)


def test_a_review_on_the_day_of_operation_is_ignored_and_counted():
    result = found((0, 0, True), (0, 0, False), (0, 30, False))
    assert pairs(result) == [(30, INF)]
    assert result.on_day_0 == 2


def test_reviews_after_the_end_of_follow_up_do_not_count():
    result = found((0, 30, False), (0, 90, True), (1, 90, True), sides=2, until=[60, 90])
    assert pairs(result) == [(30, INF), (0, 90)]
    assert result.after_end == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0, 1], [30], [True], 2), "side, day and regrown must be equally long, not 2, 1, 1"),
        (([2], [30], [True], 2), "side must be from 0 to 1, not 2 (row 0)"),
        (([0], [-1], [True], 1), "day must be a whole day, 0 or later, not -1 (row 0)"),
        (([0], [1.5], [True], 1), "day must be a whole day, 0 or later, not 1.5 (row 0)"),
        (([0], [np.nan], [True], 1), "day must be a whole day, 0 or later, not nan (row 0)"),
        (([0], [3], [2], 1), "regrown must be true or false for each finding"),
        (([0], [3], [1], 1, np.nan), "followed_until must be a number of days, not nan"),
    ],
)
def test_refuses_what_is_no_finding(arguments, words):
    with pytest.raises(ValueError, match="must") as refusal:
        from_findings(*arguments)
    assert str(refusal.value) == words


def test_equal_intervals_are_counted_together_and_silent_ones_apart():
    result, index = aggregate_rows([0, 30, 0, 0, 30], [INF, 60, 30, 30, INF])
    assert pairs(result) == [(0, 30), (30, 60), (30, INF)]
    assert result.weight.tolist() == [2, 1, 1]
    assert result.uninformative == 1
    assert index.tolist() == [-1, 1, 0, 0, 2]


def test_rows_of_weight_0_are_not_there():
    result = aggregate([0, 30], [30, 60], [0, 2.5])
    assert pairs(result) == [(30, 60)]
    assert result.weight.tolist() == [2.5]


@pytest.mark.parametrize(
    ("left", "right", "words"),
    [
        ([3, -3], [4, 4], "left must be at least 0, not -3 (row 1)"),
        ([30], [20], "right must be at least left, not 20 (row 0)"),
        ([0], [0], "right must be above 0, not 0 (row 0)"),
        ([INF], [INF], "left must be finite, not inf (row 0)"),
        ([np.nan], [3], "left must be a number of days, not nan (row 0)"),
        ([3], [np.nan], "right must be a number of days, not nan (row 0)"),
        ([3, 4], [5], "left and right must be lists of equal length, not of shapes (2,), (1,)"),
    ],
)
def test_refuses_what_is_no_interval(left, right, words):
    with pytest.raises(ValueError, match="must") as refusal:
        aggregate(left, right)
    assert str(refusal.value) == words


@pytest.mark.parametrize("weight", [[-1.0], [np.nan], [INF], [1.0, 1.0]])
def test_refuses_what_is_no_weight(weight):
    with pytest.raises(ValueError, match="weight must be"):
        aggregate([0], [3], weight)


def test_refuses_weights_without_a_finite_sum():
    with pytest.raises(ValueError, match="weight must have a finite sum, not infinity"):
        aggregate([0, 0], [3, 4], [1e308, 1e308])


def ends(unit=1):
    day = st.integers(0, 12)
    interval = st.tuples(day, st.one_of(st.integers(0, 5), st.just(INF))).map(
        lambda pair: (pair[0] * unit, max((pair[0] + pair[1]) * unit, unit))
    )
    return st.lists(interval, min_size=1, max_size=25)


@given(ends())
@settings(max_examples=200, deadline=None)
def test_maximal_intersections_are_what_a_search_over_all_pairs_of_ends_finds(rows):
    """Peto 1973: (q, p] with q a left end, p a right end, and no other end between; written out with exact days as
    intervals from just before the day."""
    left, right = np.array(rows, dtype=float).T
    result = aggregate(left, right)
    support = maximal_intersections(result)
    begins = {(low - 0.5 if low == high else low) for low, high in pairs(result)}
    finishes = {high for _, high in pairs(result)}
    expected = [
        (q, p)
        for q in sorted(begins)
        for p in sorted(finishes)
        if q < p and not any(q < other < p for other in begins | finishes)
    ]
    given_back = [
        (end - 0.5 if start == end else start, end)
        for start, end in zip(support.start.tolist(), support.end.tolist(), strict=True)
    ]
    assert given_back == expected
    for place, (low, high) in enumerate(pairs(result)):
        low = low - 0.5 if low == high else low
        inside = [low <= q and p <= high for q, p in expected]
        assert inside[support.first[place] : support.last[place]] == [True] * sum(inside)
        assert sum(inside) >= 1


@given(ends(), st.data())
@settings(max_examples=100, deadline=None)
def test_maximal_intersections_of_some_intervals_are_those_of_these_alone(rows, data):
    result = aggregate(*np.array(rows, dtype=float).T)
    count = len(result.left)
    present = np.array(data.draw(st.lists(st.booleans(), min_size=count, max_size=count)), dtype=bool)
    if not present.any():
        return
    some = maximal_intersections(result, present)
    alone = maximal_intersections(aggregate(result.left[present], result.right[present]))
    assert some.start.tolist() == alone.start.tolist()
    assert some.end.tolist() == alone.end.tolist()
    assert some.first[present].tolist() == alone.first.tolist()
    assert some.last[present].tolist() == alone.last.tolist()


def test_intervals_that_share_a_day_do_not_meet_there():
    support = maximal_intersections(aggregate([0, 100, 100, 10], [100, 200, INF, 30]))
    assert list(zip(support.start.tolist(), support.end.tolist(), strict=True)) == [(10, 30), (100, 200)]


@given(ends())
@settings(max_examples=50, deadline=None)
def test_days_are_counted_the_same_in_a_table_and_by_sorting(rows):
    telling = [row for row in rows if row != (0, INF)]
    if not telling:
        return
    left, right = np.array(telling * 40, dtype=float).T  # enough rows for the table
    counted, index = aggregate_rows(left, right)
    for shift in (module.LAST_TABLED_DAY + 1, 0.25):  # too late for the table, and no whole days
        other, other_index = aggregate_rows(left + shift, right + shift)
        assert (other.left - shift).tolist() == counted.left.tolist()
        assert (other.right - shift).tolist() == counted.right.tolist()
        assert other.weight.tolist() == counted.weight.tolist()
        assert other_index.tolist() == index.tolist()
