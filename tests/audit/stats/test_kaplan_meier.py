"""Published curves and tests, another program's limits, and what the curve does to regrowth seen at reviews."""

import json
from pathlib import Path

import numpy as np
import pytest

from audit.referees.curves import CALLS
from audit.stats.kaplan_meier import as_seen, kaplan_meier, log_rank
from audit.stats.turnbull import npmle
from tests.benchmarks.data import clinic, true_share

REFERENCE = json.loads((Path(__file__).parents[3] / "fixtures/reference/curves.json").read_text("utf-8"))
ENTRIES = [entry for entry in REFERENCE if entry["call"] in {"kaplan_meier", "kaplan_meier_limits", "log_rank"}]
INF = np.inf


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["id"])
def test_agrees_with_published_values(entry):
    found = CALLS[entry["call"]](entry["input"])
    for name, expected in entry["expected"].items():
        assert found[name] == pytest.approx(expected, abs=entry["tolerance"]), name


def test_when_all_have_the_event_the_curve_ends_at_0_without_an_error():
    last = kaplan_meier([1, 2, 2], [True, True, True]).steps[-1]
    assert (last.survival, last.standard_error, last.low, last.high) == (0, None, None, None)
    assert kaplan_meier([1, 2, 2], [1, 1, 1]).survival(99) == 0


def test_a_unit_censored_on_the_day_of_an_event_is_at_risk_on_it():
    step = kaplan_meier([5, 5, 9], [True, False, False]).steps[0]
    assert (step.at_risk, step.events, step.survival) == (3, 1, pytest.approx(2 / 3))


def test_survival_between_steps_and_after_the_last_day():
    found = kaplan_meier([5, 9], [True, False])
    assert [found.survival(day) for day in (0, 4.9, 5, 9, 9.1)] == [1, 1, 0.5, 0.5, None]


def test_nobody_and_nothing():
    assert kaplan_meier([], []).steps == ()
    assert kaplan_meier([], []).survival(1) is None
    assert kaplan_meier([3, 4], [False, False]).survival(4) == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([-1], [True]), "time must be finite and at least 0, not -1 (row 0)"),
        (([1, np.nan], [True, True]), "time must be finite and at least 0, not nan (row 1)"),
        (([INF], [True]), "time must be finite and at least 0, not inf (row 0)"),
        (([1], [2]), "event must be true or false for each unit"),
        (([1, 2], [True]), "time and event must be lists of equal length, not of shapes (2,), (1,)"),
    ],
)
def test_refuses_what_is_no_time(arguments, words):
    with pytest.raises(ValueError, match="must") as refusal:
        kaplan_meier(*arguments)
    assert str(refusal.value) == words


def test_the_log_rank_test_written_out_for_a_small_sample():
    """Two groups of two, events on days 1 to 4 in turn: expected events of the first group by hand."""
    found = log_rank([1, 3, 2, 4], [True] * 4, ["a", "a", "b", "b"])
    expected = 2 / 4 + 1 / 3 + 1 / 2 + 0
    variance = 1 / 4 + 2 / 9 + 1 / 4
    assert found.groups == ("a", "b")
    assert found.observed == (2, 2)
    assert found.expected == pytest.approx((expected, 4 - expected))
    assert found.statistic == pytest.approx((2 - expected) ** 2 / variance)


def test_the_log_rank_test_of_three_groups_does_not_depend_on_their_names():
    random = np.random.default_rng(4)
    time, event, group = random.integers(1, 30, 90), random.random(90) < 0.6, random.integers(0, 3, 90)
    found, renamed = log_rank(time, event, group), log_rank(time, event, (group + 1) % 3)
    assert found.degrees == 2
    assert renamed.statistic == pytest.approx(found.statistic)
    assert sum(found.expected) == pytest.approx(sum(found.observed))


def test_without_an_event_there_is_no_test():
    found = log_rank([1, 2, 3], [False] * 3, [0, 1, 1])
    assert (found.statistic, found.p) == (None, None)
    assert found.withheld == "not estimable: no event while all groups were at risk"
    with pytest.raises(ValueError, match="group must hold at least 2 groups, not 1"):
        log_rank([1, 2], [True, True], [0, 0])


def test_taking_the_day_seen_for_the_day_regrown_is_too_low_early_and_too_high_late():
    """An invented clinic with known shares, seeded: reviews find regrowth late, and the last ones stand for many."""
    left, right = clinic(30_000).intervals()
    curve, seen = npmle(left, right), kaplan_meier(*as_seen(left, right))
    for day, low, high in [(180, -0.6, -0.15), (365, -0.4, -0.08), (730, 0.1, 0.6)]:
        assert low < (1 - seen.survival(day)) / true_share(day) - 1 < high
        assert curve.at(day).middle == pytest.approx(true_share(day), rel=0.08)
