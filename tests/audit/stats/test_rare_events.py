"""Gaps between regrowths against geometric tails, and the run chart rules against printed limits and a simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.referees.monitoring import CALLS
from audit.stats.rare_events import g_chart, gap_limits, run_chart, run_chart_limits
from tests.audit.stats.entries import agree, entries

OTHERS = [case for case in entries("monitoring") if case.values[0]["call"].startswith(("run_chart", "gap"))]


@pytest.mark.parametrize("entry", OTHERS)
def test_the_reference_entries(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def up_to(gap, rate):
    return 1 - (1 - rate) ** (gap + 1)


@given(st.floats(0.0001, 0.6))
@settings(max_examples=150, deadline=None)
def test_limits_are_where_the_geometric_tails_are(rate):
    limits = gap_limits(rate)
    for limit, share in ((limits.centre, 0.5), (limits.warning_high, 0.975), (limits.alarm_high, 0.999)):
        assert up_to(limit, rate) >= share - 1e-9
        assert limit == 0 or up_to(limit - 1, rate) < share + 1e-9
    for limit, share in ((limits.warning_low, 0.025), (limits.alarm_low, 0.001)):
        if limit is None:
            assert up_to(0, rate) > share - 1e-9, "two events in a row are not rarer than the limit"
        else:
            assert up_to(limit, rate) <= share + 1e-9 < up_to(limit + 1, rate) + 2e-9


def at(*events, units):
    return [place in events for place in range(units)]


def test_gaps_count_the_units_without_the_event():
    found = g_chart(at(3, 4, 9, units=15), rate=0.1)
    assert found.gaps == (3, 0, 4)
    assert found.open_gap == 5
    assert (found.events, found.units) == (3, 15)


def test_limits_are_drawn_from_ten_events_on():
    nine = g_chart(at(*range(5, 90, 10), units=100))
    ten = g_chart(at(*range(5, 100, 10), units=100))
    assert nine.withheld == "9 events so far, limits are drawn from 10 on"
    assert nine.limits is None
    assert ten.shown
    assert ten.limits.rate == pytest.approx(9 / (10 + 5 + 9 * 9 - 1))


def test_the_rate_from_the_gaps_is_unbiased():
    """4,000 seeded charts of 12 events at 8 %: the mean within three standard errors; 1 / (mean gap + 1) is not."""
    random = np.random.default_rng(3)
    gaps = random.geometric(0.08, (4000, 12)) - 1
    charts = [g_chart([step == gap for gap in row for step in range(gap + 1)]).limits.rate for row in gaps.tolist()]
    error = np.std(charts) / np.sqrt(4000)
    assert np.mean(charts) == pytest.approx(0.08, abs=3 * error)
    assert abs((1 / (gaps.mean(axis=1) + 1)).mean() - 0.08) > 3 * error


def test_a_gap_beyond_the_limit_is_outside_and_so_is_the_open_one():
    found = g_chart(at(0, 2, 160, 170, units=330), rate=0.05)
    assert found.limits.alarm_high == 134
    assert found.gaps == (0, 1, 157, 9)
    assert found.open_gap == 159
    assert found.outside == (2, 4)


def test_events_in_a_row_are_outside_only_where_that_is_rare():
    assert g_chart(at(50, 51, units=100), rate=0.05).outside == ()
    assert g_chart(at(900, 901, units=1000), rate=0.0005).outside == (1,)


@pytest.mark.parametrize("units", [5, 200])
def test_no_event_is_one_open_gap(units):
    found = g_chart([False] * units)
    assert (found.gaps, found.open_gap, found.withheld) == ((), units, "0 events so far, limits are drawn from 10 on")


def test_nothing_but_events_has_no_limits():
    assert g_chart([True] * 12).withheld == "no unit without the event"


def test_a_run_that_is_too_long_and_crossings_that_are_too_few():
    """12 values below the line, then 12 above: one crossing where 24 values should have 8 or more."""
    found = run_chart([1, 2] * 6 + [8, 9] * 6, centre=5)
    assert (found.useful, found.longest_run, found.crossings) == (24, 12, 1)
    assert (found.longest_allowed, found.fewest_crossings) == (8, 8)
    assert found.run_places == (0, 11)
    assert found.signals == (
        "12 values in a row below the centre line, chance gives up to 8",
        "the centre line is crossed 1 times, chance gives at least 8",
    )


def test_a_run_as_long_as_allowed_is_no_signal():
    """20 values allow runs up to 7 and need 6 crossings."""
    values = [9] * 7 + [1, 9] * 6 + [1]
    assert run_chart(values, centre=5).signals == ()
    assert run_chart([9, *values], centre=5).signals == (
        "8 values in a row above the centre line, chance gives up to 7",
    )


def test_values_on_the_line_count_neither_way():
    found = run_chart([5, 9, 5, 9, 1, 5, 1, 9], centre=5)
    assert (found.useful, found.crossings, found.longest_run) == (5, 2, 2)


def test_the_median_is_the_centre():
    assert run_chart([3, 1, 2]).centre == 2
    assert run_chart([4, 4, 4]).useful == 0


def test_few_values_are_not_asked():
    assert run_chart([1, 9] * 4 + [9], centre=5).withheld == "9 values off the centre line, the rules need 10"
    assert run_chart([]).withheld == "no value"


@pytest.mark.parametrize("useful", [12, 24, 36])
def test_chance_alone_signals_in_few_charts(useful):
    """Anhoj & Olesen 2014: false signals of both rules together stay about 5 %; 3,000 seeded charts."""
    random = np.random.default_rng(useful)
    signals = sum(bool(run_chart(values, 0.0).signals) for values in random.normal(size=(3000, useful)).tolist())
    assert 0.02 < signals / 3000 < 0.10


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: gap_limits(0.0), "rate must be between 0 and 1, not 0.0"),
        (lambda: g_chart([]), "outcomes must hold at least 1 unit, not 0"),
        (lambda: run_chart([1.0, float("nan")]), "values must be finite, not nan"),
        (lambda: run_chart([1.0], float("inf")), "values must be finite, not inf"),
        (lambda: run_chart_limits(0), "useful must be a whole number, at least 1, not 0"),
    ],
)
def test_refuses_what_is_no_chart(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
