"""Holm's adjustment against another library, and against the closed test that it is a shortcut of."""

from itertools import combinations
from math import nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from audit.stats.multiplicity import exploratory, holm

p_values = st.lists(st.one_of(st.floats(0, 1), st.sampled_from([0.0, 0.01, 0.05, 1.0])), min_size=1, max_size=7)


def adjusted(found):
    return [one.adjusted for one in found.comparisons]


@pytest.mark.parametrize(
    "values",
    [
        [0.01, 0.02, 0.03, 0.04, 0.05],
        [0.04, 0.001, 0.2, 0.013],
        [0.02, 0.02, 0.02],  # ties
        [0.6, 0.9, 0.0],
        [0.04],
    ],
)
def test_agrees_with_statsmodels(values):
    found = holm("techniques", {str(place): p for place, p in enumerate(values)})
    rejected, expected, _, _ = multipletests(values, alpha=0.05, method="holm")
    assert adjusted(found) == pytest.approx(list(expected))
    assert [one.rejected for one in found.comparisons] == list(rejected)


@given(p_values)
@settings(max_examples=60, deadline=None)
def test_is_the_closed_test_with_bonferroni_for_every_intersection(values):
    """A hypothesis falls only with every set it belongs to; Marcus R, Peritz E, Gabriel KR. Biometrika 1976;63:655-660
    (from memory, unverified)."""
    found = adjusted(holm("techniques", {str(place): p for place, p in enumerate(values)}))
    places = range(len(values))
    sets = [chosen for size in range(1, len(values) + 1) for chosen in combinations(places, size)]
    for place in places:
        expected = max(min(1, len(own) * min(values[one] for one in own)) for own in sets if place in own)
        assert found[place] == pytest.approx(expected)


def test_a_test_that_could_not_be_done_still_counts():
    """As if its p were 1: the others do not gain by what the data happened to be."""
    found = holm("techniques", {"a": 0.01, "b": None, "c": 0.03})
    _, expected, _, _ = multipletests([0.01, 1.0, 0.03], method="holm")
    a, b, c = found.comparisons
    assert (a.adjusted, c.adjusted) == pytest.approx((expected[0], expected[2]))
    assert (b.p, b.adjusted, b.rejected) == (None, None, False)
    assert b.withheld
    assert found.size == 3


def test_the_result_names_its_family_and_keeps_the_order():
    found = holm("technique comparisons", {"b": 0.5, "a": 0.001})
    assert found.name == "technique comparisons"
    assert [one.label for one in found.comparisons] == ["b", "a"]
    assert [one.rejected for one in found.comparisons] == [False, True]


def test_a_p_value_on_the_border_is_rejected():
    assert holm("one", {"a": 0.05}).comparisons[0].rejected
    assert holm("one", {"a": 0.1}, level=0.9).comparisons[0].rejected
    assert not holm("one", {"a": 0.0501}).comparisons[0].rejected
    assert not holm("one", {"a": 0.05}, level=0.99).comparisons[0].rejected


def test_the_heading_of_exploratory_intervals():
    assert "1 in 20" in exploratory(12)
    assert "0.6" in exploratory(12)
    assert "1 in 10" in exploratory(5, level=0.9)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: holm("one", {}), "p_values must hold at least 1 test, not 0"),
        (lambda: holm("", {"a": 0.1}), "family must have a name"),
        (lambda: holm("one", {"a": 1.1}), r"p_values\['a'\] must be from 0 to 1, not 1.1"),
        (lambda: holm("one", {"a": nan}), r"p_values\['a'\] must be from 0 to 1, not nan"),
        (lambda: holm("one", {"a": 0.1}, level=0), "level must be between 0 and 1, not 0"),
        (lambda: exploratory(0), "intervals must be at least 1, not 0"),
    ],
)
def test_refuses_what_is_no_p_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()
