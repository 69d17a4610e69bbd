"""The table of thin data, line by line, and that no other module has another number. Rules: our own choice."""

from math import inf, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.measures import strata
from audit.measures.definitions import Shown
from audit.stats import clustered, funnel, pooling, regression, samples, thin, trend
from audit.stats.thin import RULES, Figure, Show


@pytest.mark.parametrize(
    ("found", "show"),
    [
        (thin.rate(0, 0), Show.EMPTY),
        (thin.rate(9, 9), Show.COUNTS),
        (thin.rate(40, 4), Show.COUNTS),
        (thin.rate(10, 5), Show.HOLLOW),
        (thin.rate(19, 19), Show.HOLLOW),
        (thin.rate(20, 5), Show.RATE),
        (thin.extreme(0, 30), Show.ZERO),
        (thin.extreme(30, 30), Show.ALL),
        (thin.extreme(1, 30), Show.RATE),
        (thin.extreme(0, 0), Show.EMPTY),
        (thin.against_standard(19), Show.NO_TEST),
        (thin.against_standard(20), Show.TEST),
        (thin.comparison(10, 10, 5), Show.COMPARED),
        (thin.comparison(9, 90, 50), Show.SIDE_BY_SIDE),
        (thin.comparison(90, 9, 50), Show.SIDE_BY_SIDE),
        (thin.comparison(90, 90, 4), Show.SIDE_BY_SIDE),
        (thin.trend(3, 10), Show.TREND),
        (thin.trend(2, 10), Show.EXACT_TREND),
        (thin.trend(3, 9), Show.EXACT_TREND),
        (thin.regression(30, 100, 10, 2), Show.GEE),
        (thin.regression(29, 100, 10, 2), Show.FIRTH),
        (thin.regression(30, 100, 9, 2), Show.FIRTH),
        (thin.regression(30, 100, 91, 2), Show.FIRTH),  # 9 without the event
        (thin.regression(20, 30, 3, 2), Show.FIRTH),
        (thin.regression(19, 30, 3, 2), Show.NOTHING),
        (thin.regression(20, 30, 2, 2), Show.NOTHING),
        (thin.funnel(10), Show.DISPERSION),
        (thin.funnel(9), Show.FUNNEL),
        (thin.funnel(5), Show.FUNNEL),
        (thin.funnel(4), Show.TABLE),
        (thin.pool(5), Show.PREDICTION),
        (thin.pool(4), Show.POOLED),
        (thin.pool(3), Show.POOLED),
        (thin.pool(2), Show.FOREST),
    ],
)
def test_the_table(found, show):
    assert found.show is show
    fullest = RULES[found.figure][0].show
    assert found.full == (show is fullest)


def test_a_reason_says_how_many_there_are_and_how_many_it_takes():
    assert "3 of at least 10 units" in thin.rate(3, 3).reason
    assert "4 of at least 5 patients" in thin.rate(12, 4).reason
    assert "units" not in thin.rate(12, 4).reason  # 12 units are enough for the next better showing
    assert "2 of at least 5 events" in thin.comparison(50, 50, 2).reason
    assert "4.5 of at least 5 events per parameter" in thin.regression(30, 100, 9, 2).reason
    assert thin.rate(0, 0).reason == "no cases"


def test_a_curve_ends_with_the_tenth_patient():
    assert thin.curve([30, 180, 365], [40, 12, 10]).until == 365
    assert thin.curve([30, 180, 365], [40, 12, 10]).full
    early = thin.curve([30, 180, 365], [40, 12, 9])
    assert (early.show, early.until) == (Show.CURVE, 180)
    assert "day 180" in early.reason
    none = thin.curve([30, 180], [9, 3])
    assert (none.show, none.until) == (Show.NOTHING, None)
    assert "9 of at least 10 patients observed" in none.reason


@given(st.integers(0, 60).flatmap(lambda units: st.tuples(st.just(units), st.integers(min(units, 1), units))))
@settings(max_examples=200, deadline=None)
def test_rates_are_shown_as_the_audit_shows_them(pair):
    same = {
        Shown.EMPTY: Show.EMPTY, Shown.LISTED: Show.COUNTS, Shown.HOLLOW: Show.HOLLOW, Shown.FULL: Show.RATE,
    }  # fmt: skip
    assert thin.rate(*pair).show is same[strata.shown_by(*pair)]


def needs(figure, place=0):
    return dict(RULES[figure][place].needs)


def test_other_modules_have_the_same_numbers():
    assert needs(Figure.RATE)["patients"] == clustered.FEWEST_PATIENTS
    assert needs(Figure.TREND) == {"exposure classes": trend.FEWEST_CLASSES, "events": trend.FEWEST_EVENTS}
    assert needs(Figure.REGRESSION) == {
        "patients": regression.GEE_PATIENTS, "events per parameter": regression.GEE_EVENTS_PER_COEFFICIENT,
    }  # fmt: skip
    assert needs(Figure.REGRESSION, 1) == {"patients": regression.FIRTH_PATIENTS, "events": regression.FIRTH_EVENTS}
    assert needs(Figure.CURVE) == {"patients observed": samples.FEWEST_OBSERVED}
    assert needs(Figure.FUNNEL) == {"practices": funnel.FEWEST_FOR_SPREAD}
    assert needs(Figure.FUNNEL, 1) == {"practices": funnel.FEWEST_UNITS}
    assert needs(Figure.POOL) == {"practices": pooling.FEWEST_PREDICTED}
    assert needs(Figure.POOL, 1) == {"practices": pooling.FEWEST_POOLED}


@pytest.mark.parametrize("patients", range(12))
def test_few_patients_is_the_rule_of_the_intervals(patients):
    shown = bool(patients) and clustered.rao_scott_wilson([1] + [0] * (patients - 1), [3] * patients).shown
    assert (thin.few_patients(patients) == "") == shown


@pytest.mark.parametrize("figure", Figure)
def test_every_figure_has_a_showing_that_needs_nothing(figure):
    assert RULES[figure][-1].needs == ()
    assert all(rule.needs for rule in RULES[figure][:-1])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: thin.rate(-1, 0), "units must be at least 0, not -1"),
        (lambda: thin.rate(5, 6), "patients must be from 1 to 5, the number of units, not 6"),
        (lambda: thin.rate(5, 0), "patients must be from 1 to 5, the number of units, not 0"),
        (lambda: thin.rate(2.5, 1), "units must be a whole number, not 2.5"),
        (lambda: thin.rate(nan, 1), "units must be a whole number, not nan"),
        (lambda: thin.rate(inf, 1), "units must be a whole number, not inf"),
        (lambda: thin.extreme(3, 2), "events must be from 0 to 2, not 3"),
        (lambda: thin.regression(20, 30, 3, 0), "parameters must be at least 1, not 0"),
        (lambda: thin.curve([], []), "observed must have as many entries as days"),
        (lambda: thin.curve([1, 2], [3]), "observed must have as many entries as days"),
        (lambda: thin.curve([2, 2], [3, 3]), "days must be ascending"),
        (lambda: thin.curve([2, nan], [3, 3]), "days must be ascending"),
        (lambda: thin.curve([1, 2], [3, -1]), r"observed\[1\] must be at least 0, not -1"),
    ],
)
def test_refuses_what_is_no_count(call, words):
    with pytest.raises(ValueError, match=words):
        call()
