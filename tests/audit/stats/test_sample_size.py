"""Sample sizes against definitions tried number by number, and other programs."""

from math import comb, inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.power import NormalIndPower
from statsmodels.stats.proportion import proportion_effectsize

from audit.referees.sample_size import CALLS
from audit.stats.proportion import wilson
from audit.stats.sample_size import (
    acceptance_table,
    arcsine_effect,
    arcsine_power,
    cluster_sizes,
    for_precision,
    mean_cluster_size,
    plan,
    planned_design_effect,
    to_show_below,
    two_groups,
    years_of_volume,
)
from tests.audit.stats.entries import agree, entries


@pytest.mark.parametrize("entry", entries("sample_size"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def at_most(events, total, rate):
    return sum(comb(total, k) * rate**k * (1 - rate) ** (total - k) for k in range(events + 1))


def test_every_row_of_the_acceptance_table_is_the_first_that_will_do():
    for standard in (0.02, 0.05, 0.1, 0.3):
        for row in acceptance_table(standard, events=(0, 1, 2, 5, 9)):
            assert at_most(row.events, row.units, standard) <= 0.05
            assert at_most(row.events, row.units - 1, standard) > 0.05


def test_without_an_event_the_table_is_the_rule_for_none():
    """The smallest n with 0.95^n <= 0.05 is 59: the upper limit of none of 59 is just below 5 %."""
    assert acceptance_table(events=(0,))[0].units == 59
    assert wilson(0, 59).one_sided < 0.05 < wilson(0, 58).one_sided


@pytest.mark.parametrize(
    ("standard", "hoped", "power", "confidence"),
    [
        (0.05, 0.02, 0.8, 0.95), (0.05, 0.03, 0.8, 0.95), (0.1, 0.05, 0.9, 0.95), (0.05, 0.0, 0.8, 0.95),
        (0.3, 0.2, 0.8, 0.99), (0.9, 0.7, 0.8, 0.95), (0.02, 0.01, 0.5, 0.7), (0.0064, 0.0056, 0.5, 0.72),
    ],
)  # fmt: skip
def test_from_the_size_on_the_power_never_falls_short_again(standard, hoped, power, confidence):
    """Every n up to three times the answer, by scipy.stats.binom."""
    found = to_show_below(standard, hoped, power, confidence).units
    units = np.arange(1, 3 * found + 500)
    allowed = binom.ppf(1 - confidence, units, standard)
    allowed = np.where(binom.cdf(allowed, units, standard) > 1 - confidence, allowed - 1, allowed)
    reached = binom.cdf(allowed, units, hoped) >= power
    assert reached[units >= found].all()
    assert not reached[units == found - 1].any()


def test_a_plan_without_end_is_none():
    assert to_show_below(0.05, 0.0499).withheld == "more than 100,000 units would be needed"
    assert to_show_below(1e-6, 0.0).units is None
    assert for_precision(0.05, 0.0001).withheld == "more than 100,000 units would be needed"


@given(st.floats(0, 1), st.floats(0.01, 0.3))
@settings(max_examples=60, deadline=None)
def test_the_size_for_a_precision_is_the_first_that_will_do(rate, half_width):
    units = for_precision(rate, half_width).units

    def half(n):
        z = 1.959963984540054
        return z * np.sqrt(z * z + 4 * n * rate * (1 - rate)) / (2 * (n + z * z))

    def reach(n):  # limits at the ends of the scale are exact
        return (half(n) + min(half(n), 0.5 - abs(0.5 - (2 * n * rate + 3.8414588) / (2 * (n + 3.8414588))))) / 2

    assert reach(units) <= half_width * (1 + 1e-6)
    assert units == 1 or reach(units - 1) > half_width * (1 - 1e-6)


def test_a_whole_number_of_events_gives_the_width_of_the_interval():
    units = for_precision(0.05, 0.0499).units
    low, high = wilson(5, 100).low, wilson(5, 100).high
    assert for_precision(0.05, (high - low) / 2).units == 100
    assert units < 100


def test_two_groups_written_out():
    """Referee: the formula; and Cohen's effect size gives nearly the same number (statsmodels NormalIndPower)."""
    z_a, z_b, p1, p2 = 1.959963984540054, 0.8416212335729143, 0.05, 0.12
    mean = (p1 + p2) / 2
    expected = (z_a * (2 * mean * (1 - mean)) ** 0.5 + z_b * (p1 * (1 - p1) + p2 * (1 - p2)) ** 0.5) ** 2 / 0.07**2
    assert two_groups(p1, p2) == pytest.approx(expected)
    assert two_groups(p2, p1) == pytest.approx(expected)
    solved = NormalIndPower().solve_power(proportion_effectsize(p1, p2), power=0.8, alpha=0.05)
    assert two_groups(p1, p2) == pytest.approx(solved, rel=0.05)


@given(st.floats(-1, 1), st.integers(2, 500), st.floats(0.001, 0.2))
@settings(max_examples=60, deadline=None)
def test_the_arcsine_power_agrees_with_another_program(effect, per_group, alpha):
    """Referee: statsmodels NormalIndPower."""
    power = NormalIndPower().power
    assert arcsine_power(effect, per_group, alpha) == pytest.approx(power(effect, per_group, alpha), abs=1e-9)
    one_sided = arcsine_power(effect, per_group, alpha, two_sided=False)
    assert one_sided == pytest.approx(power(effect, per_group, alpha, alternative="larger"), abs=1e-9)


def test_the_arcsine_effect_agrees_with_another_program():
    """Referee: statsmodels proportion_effectsize."""
    assert arcsine_effect(0.3, 0.1) == pytest.approx(proportion_effectsize(0.3, 0.1))


def test_more_units_where_patients_have_several_and_some_are_lost():
    """46 patients with 154 sides and a correlation of 0.2: the design effect is 1 + 2.35 * 0.2."""
    effect = planned_design_effect(mean_cluster_size(154, 46), 0.0, 0.2)
    assert effect == pytest.approx(1 + (154 / 46 - 1) * 0.2)
    found = plan(59, effect, 0.2)
    assert (found.independent, found.units) == (59, 109)  # 59 * 1.4696 / 0.8 = 108.4
    assert plan(59).units == 59
    assert plan(60, 1.2, 0.1).units == 80  # 72 / 0.9 = 80 exactly
    assert plan(60, 0.5).design_effect == 1


def test_sizes_of_patients_and_their_spread():
    mean, variation = cluster_sizes([1, 2, 3, 2])
    assert (mean, variation) == pytest.approx((2, np.std([1, 2, 3, 2], ddof=1) / 2))
    assert planned_design_effect(mean, variation, 0.3) == pytest.approx(1 + ((1 + variation**2) * 2 - 1) * 0.3)
    assert planned_design_effect(2.0, 0.4, -0.2) == 1


def test_years_are_said_as_a_sentence():
    assert years_of_volume(300, 120) == "300 at 120 a year are 2.5 years of this practice's volume."
    assert years_of_volume(600, 120) == "600 at 120 a year are 5.0 years of this practice's volume."
    assert years_of_volume(2869, 120) == (
        "2,869 at 120 a year are more than 5 years of this practice's volume: pool with other practices."
    )
    assert years_of_volume(59, 0) == "59 are needed; without operations in a year no time can be given."


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: acceptance_table(0.0), "standard must be between 0 and 1, not 0.0"),
        (lambda: acceptance_table(0.05, 1.0), "level must be between 0 and 1, not 1.0"),
        (lambda: acceptance_table(events=(0, -1)), "events must be whole numbers of 0 or more, not -1"),
        (lambda: acceptance_table(1e-6, events=(0,)), "events must need at most 100,000 units, not 0"),
        (lambda: to_show_below(0.05, 0.05), "hoped must be from 0 to below the standard, 0.05, not 0.05"),
        (lambda: to_show_below(0.05, nan), "hoped must be from 0 to below the standard, 0.05, not nan"),
        (lambda: to_show_below(0.05, 0.01, power=1), "power must be between 0 and 1, not 1"),
        (lambda: for_precision(0.05, 0), "half_width must be finite and above 0, not 0"),
        (lambda: for_precision(1.5, 0.1), "rate must be from 0 to 1, not 1.5"),
        (lambda: two_groups(0.1, 0.1), "rate_2 must differ from rate_1, 0.1"),
        (lambda: two_groups(0.1, nan), "rate_2 must be from 0 to 1, not nan"),
        (lambda: two_groups(0.1, 0.2, power=0), "power must be between 0 and 1, not 0"),
        (lambda: arcsine_effect(-0.1, 0.2), "rate_1 must be from 0 to 1, not -0.1"),
        (lambda: arcsine_power(nan, 10), "effect must be finite, not nan"),
        (lambda: arcsine_power(0.3, 0), "per_group must be finite and above 0, not 0"),
        (lambda: arcsine_power(0.3, 10, 0), "alpha must be between 0 and 1, not 0"),
        (lambda: planned_design_effect(0.5, 0, 0.1), "mean_size must be finite and at least 1, not 0.5"),
        (lambda: planned_design_effect(2, -1, 0.1), "variation must be finite and at least 0, not -1"),
        (lambda: planned_design_effect(2, 0, 1.1), "correlation must be from -1 to 1, not 1.1"),
        (lambda: plan(0), "independent must be a whole number of at least 1, not 0"),
        (lambda: plan(inf), "independent must be a whole number of at least 1, not inf"),
        (lambda: plan(10, nan), "design_effect must be finite and at least 0, not nan"),
        (lambda: plan(10, 1, 1), "expected_loss must be from 0 to below 1, not 1"),
        (lambda: mean_cluster_size(3, 4), "patients must be a whole number from 1 to units, 3, not 4"),
        (lambda: mean_cluster_size(3, nan), "patients must be a whole number from 1 to units, 3, not nan"),
        (lambda: acceptance_table(events=(inf,)), "events must be whole numbers of 0 or more, not inf"),
        (lambda: years_of_volume(inf, 3), "units must be a whole number of at least 1, not inf"),
        (lambda: cluster_sizes([2]), "totals_by_cluster must hold at least 2 clusters, not 1"),
        (lambda: cluster_sizes([2, 0]), r"totals_by_cluster must be whole numbers of 1 or more, not \[2, 0\]"),
        (lambda: years_of_volume(0, 3), "units must be a whole number of at least 1, not 0"),
        (lambda: years_of_volume(5, nan), "per_year must be finite and at least 0, not nan"),
    ],
)
def test_refuses_what_is_no_plan(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
