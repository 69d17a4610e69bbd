"""Funnel limits against the binomial and Poisson tails themselves, over-dispersion by hand, and who gets a place."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, norm, poisson

from audit.referees.funnel import CALLS
from audit.stats.funnel import OUTSIDE, Unit, funnel, observed_over_expected, over_dispersion
from audit.stats.funnel_limits import Place, exact_binomial_limit, funnel_limits, place_of, poisson_limits
from tests.audit.stats.entries import agree, entries

TAILS = (0.001, 0.025, 0.975, 0.999)
SIX = [Unit("F", 30, 80), Unit("A", 3, 50), Unit("C", 0, 45), Unit("B", 9, 60), Unit("E", 2, 40), Unit("D", 1, 100)]


def units(events, totals):
    return [Unit(f"U{place:02d}", x, n) for place, (x, n) in enumerate(zip(events, totals, strict=True))]


@pytest.mark.parametrize("entry", entries("funnel"))
def test_the_reference_entries(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


@given(st.floats(0.01, 0.6), st.integers(1, 600), st.sampled_from(TAILS))
@settings(max_examples=150, deadline=None)
def test_a_limit_lies_between_the_counts_whose_tails_hold_the_probability(target, size, probability):
    """P(X <= r - 1) < q <= P(X <= r): the limit times the size is above r - 1 and not above r."""
    count = exact_binomial_limit(target, size, probability) * size
    reached = int(np.ceil(count - 1e-9))
    assert binom.cdf(reached, size, target) >= probability - 1e-12
    assert binom.cdf(reached - 1, size, target) < probability + 1e-9


@given(st.floats(0.02, 0.4), st.integers(20, 400))
@settings(max_examples=60, deadline=None)
def test_the_funnel_narrows_and_holds_the_target(target, size):
    small, large = funnel_limits(target, size), funnel_limits(target, 4 * size)
    for limits in (small, large):
        low = [limits.alarm_low or 0.0, limits.warning_low or 0.0]
        assert 0 <= low[0] <= low[1] < target < limits.warning_high < limits.alarm_high <= 1
    assert large.alarm_high < small.alarm_high
    assert large.warning_high < small.warning_high


def test_a_lower_limit_of_0_is_none_so_nobody_is_good_by_having_few():
    """5 % of 20: no event at all happens to more than one unit in three."""
    limits = funnel_limits(0.05, 20)
    assert (limits.alarm_low, limits.warning_low) == (None, None)
    assert place_of(0.0, limits) is Place.INSIDE


def test_poisson_limits_lie_between_the_counts_whose_tails_hold_the_probability():
    for expected in (0.4, 2.0, 7.3, 40.0):
        limits = poisson_limits(expected)
        for limit, tail in ((limits.warning_high, 0.975), (limits.alarm_high, 0.999)):
            reached = int(np.ceil(limit * expected))
            assert poisson.cdf(reached, expected) >= tail > poisson.cdf(reached - 1, expected)


def test_five_units_in_the_order_of_their_codes_around_their_pooled_rate():
    found = funnel(SIX)
    assert found.shown
    assert [unit.code for unit in found.units] == list("ABCDEF")
    assert found.target == pytest.approx(45 / 375)
    assert found.target_source == "pooled rate"
    places = {unit.code: unit.place for unit in found.units}
    assert places["F"] is Place.ABOVE_ALARM
    assert places["D"] is Place.BELOW_ALARM
    assert places["B"] is Place.INSIDE
    assert found.spread is None, "six units are too few for over-dispersion"


def test_a_standard_is_a_target_of_its_own():
    found = funnel(SIX, 0.05)
    assert (found.target, found.target_source) == (0.05, "standard")
    assert found.units[0].limits == funnel_limits(0.05, 50)
    assert found.units[0].z_score == pytest.approx((0.06 - 0.05) / np.sqrt(0.05 * 0.95 / 50))


def test_fewer_than_five_units_are_no_funnel():
    found = funnel([*SIX[:4], Unit("G", 1, 9)])
    assert found.withheld == "5 units with 10 cases or more are needed for a funnel, not 4"
    assert [unit.code for unit in found.units] == ["A", "B", "C", "F", "G"]
    assert {unit.place for unit in found.units} == {None}


def test_a_unit_of_fewer_than_ten_cases_has_no_place():
    found = funnel([*SIX, Unit("G", 9, 9)], 0.1)
    small = found.units[-1]
    assert (small.rate, small.place, small.withheld) == (None, None, "fewer than 10 units")


def test_clustered_units_stand_at_their_effective_size():
    found = funnel([Unit("X", 9, 60, effective_total=31.9), *SIX[:5]], 0.08)
    unit = found.units[-1]
    assert (unit.code, unit.size, unit.rate) == ("X", 31, 0.15)
    assert unit.limits == funnel_limits(0.08, 31)


@pytest.mark.parametrize(("events", "words"), [(0, "no limits around a pooled rate of 0%"), (20, "no limits .* 100%")])
def test_no_funnel_around_0_or_1(events, words):
    found = funnel(units([events] * 6, [20] * 6))
    assert not found.shown
    assert words.split()[-1] in found.withheld


def test_units_that_differ_by_chance_are_not_over_dispersed():
    random = np.random.default_rng(4)
    sizes = random.integers(60, 200, 40)
    found = over_dispersion((random.binomial(sizes, 0.08) / sizes).tolist(), sizes.tolist(), 0.08)
    assert not found.found
    assert found.variance == 0
    assert found.threshold == pytest.approx(1 + 2 * np.sqrt(2 / 40))


def test_units_that_truly_differ_get_back_their_variance():
    """400 units with true rates of SD 0.04 around 0.1; drawing in the outer tenths costs a part of it."""
    random = np.random.default_rng(5)
    sizes = random.integers(100, 400, 400)
    rates = random.beta(0.1 * 55, 0.9 * 55, 400)
    found = over_dispersion((random.binomial(sizes, rates) / sizes).tolist(), sizes.tolist(), 0.1)
    assert found.found
    assert 0.5 < found.variance / rates.var() < 1.1


def test_over_dispersed_units_get_wider_limits_all_around():
    events, totals = [3, 9, 1, 1, 2, 30, 1, 5, 20, 7, 1, 6], [50, 60, 45, 100, 40, 80, 20, 90, 60, 44, 70, 66]
    found = funnel(units(events, totals), 0.08)
    first = found.units[0]
    error = np.sqrt(0.08 * 0.92 / 50 + found.spread.variance)
    assert found.spread.found
    assert first.limits.warning_high == pytest.approx(0.08 + norm.ppf(0.975) * error)
    assert first.limits.alarm_high == pytest.approx(0.08 + norm.ppf(0.999) * error)
    assert (first.limits.warning_low, first.limits.alarm_low) == (None, None)
    assert first.z_score == pytest.approx((0.06 - 0.08) / error)
    assert funnel_limits(0.08, 50).warning_high < first.limits.warning_high


def test_observed_over_expected_has_exact_limits_and_a_place():
    found = observed_over_expected("A", 16, 6.0)
    assert found.ratio == pytest.approx(16 / 6)
    assert poisson.sf(15, found.low * 6) == pytest.approx(0.025)
    assert poisson.cdf(16, found.high * 6) == pytest.approx(0.025)
    assert found.place is Place.ABOVE_ALARM
    assert OUTSIDE == "outside the 99.8 % limits: look at data quality, case mix, then practice"


def test_a_design_effect_widens_observed_over_expected():
    alone, clustered = observed_over_expected("A", 16, 6.0), observed_over_expected("A", 16, 6.0, design_effect=2.0)
    assert clustered.ratio == alone.ratio
    assert clustered.low < alone.low
    assert clustered.high > alone.high
    assert clustered.limits == poisson_limits(3.0)
    assert observed_over_expected("A", 16, 6.0, design_effect=0.5) == alone


def test_nothing_observed_has_an_upper_limit_only():
    found = observed_over_expected("A", 0, 2.0)
    assert (found.ratio, found.low) == (0, 0)
    assert found.high == pytest.approx(-np.log(0.025) / 2)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: exact_binomial_limit(0.0, 10, 0.5), "target must be between 0 and 1, not 0.0"),
        (lambda: exact_binomial_limit(0.1, 0, 0.5), "total must be at least 1, not 0"),
        (lambda: exact_binomial_limit(0.1, 10, 1.0), "probability must be between 0 and 1, not 1.0"),
        (lambda: poisson_limits(0.0), "expected must be finite and above 0, not 0.0"),
        (lambda: poisson_limits(float("nan")), "expected must be finite and above 0, not nan"),
        (lambda: funnel([]), "units must hold at least 1 unit, not 0"),
        (lambda: funnel([*SIX, SIX[0]]), "units must have codes that differ, not F twice"),
        (lambda: funnel([*SIX, Unit("G", 5, 4)]), "events must be from 0 to 4, not 5"),
        (lambda: funnel([*SIX, Unit("G", 1, 40, 41)]), "effective_total must be above 0 and up to 40, not 41"),
        (lambda: funnel(SIX, 1.0), "target must be between 0 and 1, not 1.0"),
        (lambda: over_dispersion([0.1] * 9, [20] * 9, 0.1), "rates must hold at least 10 units, not 9"),
        (lambda: over_dispersion([0.1] * 10, [20] * 9, 0.1), "sizes must hold one size for each of 10 rates, not 9"),
        (lambda: over_dispersion([0.1] * 10, [0] * 10, 0.1), "sizes must be finite and above 0, not 0"),
        (lambda: observed_over_expected("A", -1, 2.0), "observed must be a whole number, 0 or more, not -1"),
        (lambda: observed_over_expected("A", 1, 2.0, 0.0), "design_effect must be finite and above 0, not 0.0"),
    ],
)
def test_refuses_what_is_no_funnel(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
