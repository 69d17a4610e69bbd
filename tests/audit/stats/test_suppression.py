"""Tables: what a reader can work out, by going through every table that agrees with what is shown."""

from itertools import product
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.stats.cell_ranges import Table
from audit.stats.suppression import (
    audit_suppressed,
    events_by_class,
    linked,
    one_way,
    primary,
    suppress,
    two_way,
)

# Two hidden cells or more in every row and column, and yet the last cell of the first row is solved: rows 1 and 2
# less columns 2 and 3. Statistical Policy Working Paper 22, Federal Committee on Statistical Methodology 1994,
# chapter II, recalled, not re-read; its margins agree.
COUNTIES = [[15, 1, 3, 1], [20, 10, 10, 15], [3, 10, 10, 2], [12, 14, 7, 2]]
HIDDEN = [(0, 1), (0, 2), (0, 3), (1, 1), (1, 2), (2, 0), (2, 3), (3, 0), (3, 3)]


def mask_of(table, places):
    mask = np.zeros(table.values.shape, dtype=bool)
    for place in places:
        mask[place] = True
    return mask


def limits(found, place):
    return found.low[place], found.high[place]


def every_table(values, mask, most):
    """All tables with margins, cells up to `most`, that agree with the shown values of a two-way table."""
    rows, columns = values.shape[0] - 1, values.shape[1] - 1
    spaces = [
        range(most + 1) if mask[row, column] else [int(values[row, column])]
        for row in range(rows) for column in range(columns)
    ]  # fmt: skip
    for cells in product(*spaces):
        inner = np.array(cells).reshape(rows, columns)
        full = np.zeros(values.shape, dtype=int)
        full[:rows, :columns] = inner
        full[rows] = full.sum(axis=0)
        full[:, columns] = full.sum(axis=1)
        if (full == values)[~mask].all():
            yield full


def test_two_per_row_and_column_can_still_be_solved():
    table = two_way(COUNTIES)
    mask = mask_of(table, HIDDEN)
    assert (mask[:4, :4].sum(axis=0) >= 2).all()
    assert (mask[:4, :4].sum(axis=1) >= 2).all()
    found = audit_suppressed(table, mask)
    assert limits(found, (0, 3)) == (1, 1)


def test_our_own_choice_for_that_table_cannot_be_solved():
    found = suppress(two_way(COUNTIES))
    assert found.shown
    assert found.mask[0, 3]
    assert (found.ranges.width[found.mask] >= 5).all()
    assert (suppress(two_way(COUNTIES)).mask == found.mask).all()


def test_a_staircase_of_three_is_solved_by_subtraction():
    table = two_way([[4, 6, 9], [7, 3, 8], [5, 9, 6]])
    found = audit_suppressed(table, mask_of(table, [(0, 0), (0, 1), (1, 1)]))
    for place, value in (((0, 0), 4), ((0, 1), 6), ((1, 1), 3)):
        assert limits(found, place) == (value, value)


def test_a_closed_staircase_is_solved_by_its_zeros():
    """Two hidden cells in every row and column; nothing can move, because one cell of each direction is 0."""
    table = two_way([[0, 3, 6], [7, 2, 0], [1, 9, 4]])
    mask = mask_of(table, [(0, 0), (0, 1), (1, 1), (1, 2), (2, 2), (2, 0)])
    assert (audit_suppressed(table, mask).width == 0).all()


small = st.integers(1, 3).flatmap(
    lambda rows: st.integers(1, 3).flatmap(
        lambda columns: st.lists(
            st.lists(st.integers(0, 3), min_size=columns, max_size=columns), min_size=rows, max_size=rows
        )
    )
)


@given(small, st.data())
@settings(max_examples=40, deadline=None)
def test_the_ranges_are_those_of_all_tables_that_agree(counts, data):
    """Hidden cells, shown margins: no cell can exceed the total of its row, so the enumeration is complete."""
    table = two_way(counts)
    inner = [(row, column) for row in range(len(counts)) for column in range(len(counts[0]))]
    mask = mask_of(table, data.draw(st.lists(st.sampled_from(inner), max_size=4, unique=True)))
    most = int(table.values[:-1, -1].max())
    agreeing = np.array(list(every_table(table.values, mask, most)))
    found = audit_suppressed(table, mask)
    assert found.low == pytest.approx(agreeing.min(axis=0))
    assert found.high == pytest.approx(agreeing.max(axis=0))


@given(st.lists(st.lists(st.integers(0, 3), min_size=2, max_size=2), min_size=2, max_size=2), st.data())
@settings(max_examples=20, deadline=None)
def test_hidden_margins_open_the_ranges(counts, data):
    """What has no greatest value reaches any cap that the enumeration sets; what has one does not."""
    table, cap = two_way(counts), 13
    places = [(row, column) for row in range(3) for column in range(3)]
    mask = mask_of(table, data.draw(st.lists(st.sampled_from(places), max_size=9, unique=True)))
    agreeing = np.array(list(every_table(table.values, mask, cap)))
    found = audit_suppressed(table, mask)
    assert found.low == pytest.approx(agreeing.min(axis=0))
    greatest = agreeing.max(axis=0)
    # Every shown number is at most 12, so a finite greatest value is too.
    assert (np.isinf(found.high) == (greatest >= cap)).all()
    finite = np.isfinite(found.high)
    assert found.high[finite] == pytest.approx(greatest[finite])


tables = st.tuples(st.integers(1, 5), st.integers(1, 4)).flatmap(
    lambda shape: st.lists(
        st.lists(
            st.one_of(st.integers(0, 6), st.integers(0, 40)), min_size=shape[1], max_size=shape[1]
        ), min_size=shape[0], max_size=shape[0],
    )
)  # fmt: skip


@given(tables)
@settings(max_examples=25, deadline=None)
def test_no_table_with_its_totals_reveals_a_cell(counts):
    table = two_way(counts)
    found = suppress(table)
    shown = table.values[~found.mask]
    assert not ((shown >= 1) & (shown <= 4)).any()
    if not found.shown:
        assert found.mask.all()
        return
    again = audit_suppressed(table, found.mask)
    low, high = again.low[found.mask], again.high[found.mask]
    assert (high - low >= 5).all()
    assert ((low < 1) | (high > 4)).all()
    assert (low <= table.values[found.mask]).all()
    assert (high >= table.values[found.mask]).all()


@given(tables)
@settings(max_examples=20, deadline=None)
def test_nothing_is_left_out_that_protects_nothing(counts):
    table = two_way(counts)
    found = suppress(table)
    if not found.shown:
        return
    for place in np.argwhere(found.mask & ~found.first):
        fewer = found.mask.copy()
        fewer[tuple(place)] = False
        assert (audit_suppressed(table, fewer).width[fewer] < 5).any()


def test_the_audit_does_not_look_at_what_is_left_out():
    """Two tables that differ only where nothing is shown look the same to the reader."""
    one, other = two_way([[3, 7], [8, 12]]), two_way([[5, 5], [6, 14]])
    mask = mask_of(one, [(0, 0), (0, 1), (1, 0), (1, 1)])
    first, second = audit_suppressed(one, mask), audit_suppressed(other, mask)
    assert (first.low == second.low).all()
    assert (first.high == second.high).all()


def test_counts_of_1_to_4_and_their_complements_go_first():
    """Of 20: 3 and 17. Of 53: 50 is left out as well, or the 3 others would be known. 0 of 30 may stand."""
    table = two_way([[3, 17, 0], [50, 2, 1], [0, 30, 9]])
    assert primary(table).tolist() == [
        [True, True, False, False],
        [True, True, True, False],
        [False, False, False, False],
        [False, False, False, False],
    ]


def test_a_class_of_fewer_than_five_is_left_out_with_its_zeros():
    table = events_by_class([0, 0], [4, 40], add_up=False)
    assert primary(table).tolist() == [[True, True, True], [False, False, False]]


def test_an_empty_class_has_nobody_to_protect():
    assert not suppress(events_by_class([0, 9], [0, 60], add_up=True)).mask.any()


def test_the_threshold_can_be_raised_and_not_lowered():
    """Counts of 1 to 10 are common for what is published at large."""
    table = one_way([10, 60, 70])
    assert not suppress(table).mask.any()
    strict = suppress(table, fewest=11)
    assert strict.mask[0]
    assert (strict.ranges.width[strict.mask] >= 11).all()
    with pytest.raises(ValueError, match="fewest must be at least 5, not 4"):
        suppress(table, fewest=4)


def test_events_of_a_class_are_hidden_with_what_gives_them_back():
    found = suppress(events_by_class([3, 9, 12], [33, 40, 60], add_up=False))
    assert found.mask.tolist() == [[True, True, False], [False] * 3, [False] * 3]
    assert limits(found.ranges, (0, 0)) == (0, 33)
    assert found.shares.tolist() == found.mask.tolist()


def test_with_a_total_a_second_class_is_hidden_too():
    """2 of 41 in a small practice cannot be had by subtracting the others from the total."""
    found = suppress(events_by_class([6, 2, 9], [112, 41, 90], add_up=True))
    assert found.mask[1, 0]
    assert found.mask[:3, 0].sum() >= 2
    assert not found.mask[3].any()
    low, high = limits(found.ranges, (1, 0))
    assert high - low >= 5


def test_a_share_is_hidden_with_its_total():
    """13 of 13 is hidden to protect the 4 of the third class; its 0 may stand, but as a share it would need the 13."""
    found = suppress(two_way([[13, 0], [15, 31], [3, 1], [33, 9]]))
    assert found.mask[0].tolist() == [True, False, True]
    assert found.shares[0].tolist() == [True, True, True]
    assert found.shares[1].tolist() == [False, False, False]


def test_what_protects_one_cell_is_itself_protected():
    """The partners of the small counts here would otherwise be known to within 4."""
    found = suppress(two_way([[3, 20, 1], [1, 1, 38], [18, 20, 16]]))
    assert (found.ranges.width[found.mask] >= 5).all()


def test_cells_are_hidden_before_margins():
    found = suppress(two_way([[6, 5, 2], [34, 0, 27]]))
    assert found.mask[0, 2]
    assert not found.mask[-1].any()
    assert not found.mask[:, -1].any()


def test_a_count_is_hidden_before_a_zero():
    """A zero protects badly, for it is often known; here the first row can do what the second would do with its 0."""
    found = suppress(two_way([[12, 28, 15], [26, 24, 0], [4, 27, 16]]))
    assert found.mask[2, 0]
    assert not found.mask[1, 2]


def test_the_reader_knows_that_counts_are_whole():
    """Three pairs, each with one patient at most among its two: half a patient in each would make one and a half."""
    pairs = [(0, 1), (1, 2), (0, 2)]
    sums = tuple((6 + row, (*pair, 3 + row)) for row, pair in enumerate(pairs))
    table = Table(np.array([1, 0, 0, 0, 1, 0, 1, 1, 1, 1]), (*sums, (9, (0, 1, 2))), ())
    mask = np.array([True] * 6 + [False] * 3 + [True])
    possible = [
        (*cells, *(1 - cells[one] - cells[other] for one, other in pairs), 1, 1, 1, sum(cells))
        for cells in product(range(2), repeat=3)
    ]
    agreeing = np.array([values for values in possible if min(values) >= 0])
    found = audit_suppressed(table, mask)
    assert found.low == pytest.approx(agreeing.min(axis=0))
    assert found.high == pytest.approx(agreeing.max(axis=0))
    assert found.high[9] == 1


def test_a_list_hides_a_second_count_rather_than_the_total():
    found = suppress(one_way([3, 40, 25, 0]))
    assert found.mask.tolist() == [True, False, True, False, False]


def test_a_total_known_elsewhere_is_not_relied_on():
    """4 patients of 4: with the total public nothing can protect them, so the table stays here."""
    found = suppress(one_way([4]), keep=[False, True])
    assert not found.shown
    assert found.mask.all()
    table = two_way([[3, 6, 8], [20, 20, 20]])
    assert suppress(table).mask[0, 1]  # 6 would be hidden with 3, but here it is known
    found = suppress(table, keep=mask_of(table, [(0, 1)]))
    assert found.shown
    assert not found.mask[0, 1]
    assert (found.ranges.width[found.mask] >= 5).all()
    refused = suppress(table, keep=mask_of(table, [(0, 0)]))
    assert refused.withheld == "a count that is known elsewhere would have to be left out"


def test_a_table_of_which_nothing_would_be_left_is_withheld():
    assert suppress(one_way([3])).withheld == "every count would have to be left out"


def test_a_breakdown_cannot_give_back_what_its_table_hides():
    """3 of 30 with technique B are hidden with the 7 of 30 of A; a breakdown of A by side that shows its 7 gives the 3
    back, though nothing in the breakdown itself need be hidden."""
    whole = events_by_class([7, 3, 20], [30, 30, 80], add_up=True)
    parts = events_by_class([7, 0], [14, 16], add_up=True)
    both = linked(whole, parts, [(0, 6), (1, 7), (2, 8)])  # events, others and all of A; 6 to 8 total the breakdown
    apart = np.concatenate([suppress(whole).mask.ravel(), suppress(parts).mask.ravel()])
    assert limits(audit_suppressed(both, apart), 3) == (3, 3)

    found = suppress(both)
    assert found.shown
    assert found.mask[3]
    assert (found.ranges.width[found.mask] >= 5).all()
    assert found.mask[0] == found.mask[whole.values.size + 6]
    with pytest.raises(ValueError, match=r"values\[3\] must be the sum of its parts, 7, not 3"):
        linked(whole, parts, [(3, 6)])


def test_infinity_stands_where_there_is_no_greatest_value():
    table = one_way([3, 9])
    found = audit_suppressed(table, [True, False, True])
    assert (found.low[0], found.high[0], found.low[2], found.high[2]) == (0, inf, 9, inf)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: one_way([]), "counts must have 1 dimensions and at least 1 cell"),
        (lambda: two_way([1, 2]), "counts must have 2 dimensions and at least 1 cell"),
        (lambda: one_way([1, -2]), r"counts\[1\] must be at least 0, not -2"),
        (lambda: one_way([1, 2.5]), r"counts\[1\] must be a whole number, not 2.5"),
        (lambda: one_way([1, float("nan")]), r"counts\[1\] must be a whole number, not nan"),
        (lambda: events_by_class([5], [4], add_up=True), "events must have one count per class, from 0 to patients"),
        (lambda: events_by_class([5, 1], [9], add_up=True), "events must have one count per class"),
        (lambda: audit_suppressed(one_way([1, 2]), [True]), "mask must be true or false per cell"),
        (lambda: audit_suppressed(one_way([1, 2]), [1, 0, 0]), "mask must be true or false per cell"),
    ],
)
def test_refuses_what_is_no_table(call, words):
    with pytest.raises(ValueError, match=words):
        call()
