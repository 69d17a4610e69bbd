"""The rule of the verdict, written out case by case. The rule is our own choice."""

from math import nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.stats.sample_size import Needed, to_show_below
from audit.stats.verdict import DEPENDS, Verdict, against_standard, judge


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (0.00, 0.049, Verdict.MET),
        (0.01, 0.05, Verdict.MET),  # the upper limit may reach the standard
        (0.01, 0.0501, Verdict.NOT_SHOWN),
        (0.05, 0.12, Verdict.NOT_SHOWN),  # the lower limit must exceed it
        (0.0501, 0.12, Verdict.NOT_MET),
        (0.00, 1.00, Verdict.NOT_SHOWN),
        (0.00, 0.00, Verdict.NOT_SHOWN),  # a bootstrap without an event proves nothing
        (1.00, 1.00, Verdict.NOT_SHOWN),
    ],
)
def test_the_rule(low, high, verdict):
    assert judge(low, high, 0.05) is verdict
    assert against_standard(low, high, 0.05).verdict is verdict


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.01, 0.99))
@settings(max_examples=100, deadline=None)
def test_met_needs_the_whole_interval_on_its_side(first, second, standard):
    low, high = sorted((first, second))
    verdict = judge(low, high, standard)
    if verdict is Verdict.MET:
        assert all(rate <= standard for rate in (low, (low + high) / 2, high))
    if verdict is Verdict.NOT_MET:
        assert all(rate > standard for rate in (low, (low + high) / 2, high))


def test_another_estimate_that_disagrees_is_said():
    found = against_standard(0.01, 0.04, 0.05, alternatives={"planned only": (0.02, 0.045), "worst": (0.04, 0.2)})
    assert found.verdict is Verdict.MET
    assert found.depends
    assert [one.label for one in found.differing] == ["worst"]
    assert DEPENDS in found.words


def test_estimates_that_agree_leave_the_verdict_alone():
    found = against_standard(0.01, 0.04, 0.05, alternatives={"planned only": (0.02, 0.045), "best": (0.0, 0.03)})
    assert not found.depends
    assert found.words == Verdict.MET


def test_an_alternative_that_could_not_be_estimated_neither_agrees_nor_differs():
    found = against_standard(0.01, 0.04, 0.05, alternatives={"informative": None})
    assert not found.depends
    assert [one.label for one in found.not_compared] == ["informative"]


def test_the_number_needed_is_asked_for_only_where_nothing_is_shown():
    asked = []

    def needed():
        asked.append(True)
        return to_show_below(0.05, 0.02)

    assert against_standard(0.01, 0.04, 0.05, needed=needed).needed.units is None
    assert against_standard(0.06, 0.2, 0.05, needed=needed).needed.units is None
    assert not asked
    found = against_standard(0.01, 0.2, 0.05, needed=needed)
    assert asked == [True]
    assert found.needed == to_show_below(0.05, 0.02)
    assert found.needed.units > 100
    assert found.reason == "the interval includes the standard"


def test_the_number_needed_may_be_known_already_or_not_at_all():
    assert against_standard(0.01, 0.2, 0.05, needed=310).needed == Needed(310)
    assert against_standard(0.01, 0.2, 0.05, needed=Needed(None, "too many")).needed.withheld == "too many"
    assert not against_standard(0.01, 0.2, 0.05).needed.shown


def test_without_an_interval_nothing_is_shown_and_nothing_differs():
    found = against_standard(None, None, 0.05, withheld="3 patients", alternatives={"best": (0.0, 0.04)}, needed=9)
    assert (found.verdict, found.reason, found.depends) == (Verdict.NOT_SHOWN, "3 patients", False)
    assert found.needed.units == 9


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: judge(0.2, 0.1, 0.05), "low and high must be from 0 to 1 and in order, not 0.2 and 0.1"),
        (lambda: judge(-0.1, 0.1, 0.05), "low and high must be from 0 to 1"),
        (lambda: judge(nan, 0.1, 0.05), "low and high must be from 0 to 1"),
        (lambda: judge(0.0, 0.1, 1.0), "standard must be between 0 and 1, not 1.0"),
        (lambda: judge(0.0, 0.1, nan), "standard must be between 0 and 1, not nan"),
        (lambda: against_standard(0.1, None, 0.05), "low and high must both be given or both be None"),
        (lambda: against_standard(None, None, 0.05), "withheld must say why"),
        (lambda: against_standard(0.0, 0.2, 0.05, needed=0), "needed must be at least 1, not 0"),
        (lambda: against_standard(0.0, 0.2, 0.05, alternatives={"a": (0.3, 0.2)}), "low and high must be from 0 to 1"),
    ],
)
def test_refuses_what_is_no_interval(call, words):
    with pytest.raises(ValueError, match=words):
        call()
