"""Differencing and pooled figures, case by case. Thresholds: common in health statistics, or our own choice."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.stats.releases import difference, others, refused_by_log, refused_cell, refused_filter


@pytest.mark.parametrize(
    ("first", "second", "allowed"),
    [
        (range(20), range(20), True),
        (range(20), range(16), False),  # the four left out are known by subtraction
        (range(20), range(15), True),
        (range(16), range(20), False),
        (range(20), range(2, 30), False),
        (range(20), range(100, 130), True),
        (range(20), [], True),
        (range(4), [], False),
    ],
)
def test_two_releases_differ_by_nobody_or_by_enough(first, second, allowed):
    found = difference(np.array(first, dtype=int), np.array(second, dtype=int))
    assert found.allowed == allowed
    assert found.only_first == len(set(first) - set(second))
    assert found.only_second == len(set(second) - set(first))


def test_a_patient_with_several_rows_is_one_patient():
    found = difference([1, 1, 1, 2, 2, 3, 3], [])
    assert (found.only_first, found.allowed) == (3, False)
    assert "3 patients" in found.refused


@given(st.sets(st.integers(0, 40)), st.lists(st.sets(st.integers(0, 40)), max_size=4))
@settings(max_examples=100, deadline=None)
def test_a_log_lets_nothing_through_that_two_releases_would_show(new, given_before):
    def asked(patients):
        return np.array(sorted(patients), dtype=int)

    refused = refused_by_log(asked(new), [asked(one) for one in given_before])
    groups = [new, *(new - one for one in given_before), *(one - new for one in given_before)]
    assert bool(refused) == any(0 < len(group) < 5 for group in groups)


def test_a_filter_may_neither_leave_few_nor_leave_few_out():
    everyone = np.arange(20)
    assert refused_filter(everyone, np.arange(20)) == ""
    assert refused_filter(everyone, np.arange(15)) == ""
    assert "leaves out 4 patients" in refused_filter(everyone, np.arange(16))
    assert "leaves 4 patients" in refused_filter(everyone, np.arange(4))
    assert "leaves 1 patient," in refused_filter(everyone, [7])
    assert refused_filter(everyone, []) == ""


@pytest.mark.parametrize(
    ("patients", "refused"),
    [
        ([10, 10, 10], False),
        ([10, 10], True),
        ([10, 10, 0], True),  # who has nobody in the figure does not contribute
        ([70, 20, 10], False),
        ([71, 19, 10], True),
        ([], True),
    ],
)
def test_a_pooled_figure_needs_three_practices_and_no_giant(patients, refused):
    assert bool(refused_cell(patients)) == refused


def test_small_practices_stand_together():
    assert others([40, 9, 5, 30, 8]).together == (False, True, True, False, True)
    assert others([40, 9, 5, 30, 8]).patients == 22
    assert others([40, 30, 50]).together == (False, False, False)


def test_a_small_practice_is_never_alone_among_the_others():
    """One small practice as "others" would be itself; the next larger join until the figure may be given."""
    found = others([40, 9, 30, 50])
    assert found.together == (True, True, True, False)
    assert found.withheld == ""
    assert others([9, 40]).withheld
    assert others([9]).withheld


@given(st.lists(st.integers(0, 60), max_size=8))
@settings(max_examples=100, deadline=None)
def test_what_stands_under_others_may_be_given(counts):
    found = others(counts)
    inside = [count for count, together in zip(counts, found.together, strict=True) if together]
    assert all(together for count, together in zip(counts, found.together, strict=True) if 0 < count < 10)
    assert found.patients == sum(inside)
    if inside and not found.withheld:
        assert sum(inside) >= 10
        assert refused_cell(inside) == ""
    if found.withheld:
        assert len(inside) == sum(count > 0 for count in counts)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: difference([1], [2], fewest=4), "fewest must be at least 5, not 4"),
        (lambda: difference([1.5], [2]), "first must hold whole-number codes, not float64"),
        (lambda: refused_filter([1, 2], [3]), "chosen must be among everyone"),
        (lambda: refused_cell([10, -1]), r"patients_by_practice\[1\] must be at least 0, not -1"),
        (lambda: others([1.5]), r"patients_by_practice\[0\] must be a whole number, not 1.5"),
    ],
)
def test_refuses_what_cannot_be_checked(call, words):
    with pytest.raises(ValueError, match=words):
        call()
