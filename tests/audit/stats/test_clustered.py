"""Clustered intervals against their formulas written out, their properties, other programs, and simulations."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import beta, chi2_contingency
from scipy.stats import t as student
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from audit.stats.clustered import (
    design_effect,
    intraclass_correlation,
    korn_graubard,
    rao_scott_chi_square,
    rao_scott_wilson,
    too_thin_to_compare,
)
from audit.stats.proportion import Method, clopper_pearson, wilson

Z = 1.959963984540054


def limits(found):
    return found.low, found.high


def test_one_unit_each_is_plain_wilson():
    found = rao_scott_wilson([1, 0, 0, 0, 0, 0, 0, 0, 1, 0], [1] * 10)
    assert found.method is Method.WILSON
    assert limits(found) == limits(wilson(2, 10))
    assert found.clusters == 10


def test_the_formula_written_out_for_a_small_sample():
    """Six patients, ten sides, both events in one patient, so p = 0.2."""
    events, totals = [2, 0, 0, 0, 0, 0], [2, 2, 2, 2, 1, 1]
    variance = 6 / 5 * (1.6**2 + 3 * 0.4**2 + 2 * 0.2**2) / 100
    effect = variance / (0.2 * 0.8 / 10)
    size = 10 / effect * (Z / student.ppf(0.975, 5)) ** 2

    found = rao_scott_wilson(events, totals)

    assert effect == pytest.approx(2.34)
    assert found.design_effect == pytest.approx(effect)
    assert found.effective_total == pytest.approx(size)
    middle, reach = 2 * size * 0.2 + Z**2, Z * np.sqrt(Z**2 + 4 * size * 0.2 * 0.8)
    assert limits(found) == pytest.approx(
        ((middle - reach) / (2 * (size + Z**2)), (middle + reach) / (2 * (size + Z**2)))
    )
    assert found.method is Method.RAO_SCOTT


def test_never_claims_more_than_independent_units():
    """Every patient has one of two: less variable than chance, but 20 sides stay 20 sides."""
    found = rao_scott_wilson([1] * 10, [2] * 10)
    assert found.design_effect == pytest.approx(0)
    assert found.effective_total == 20
    assert limits(found) == pytest.approx(limits(wilson(10, 20)))


def test_without_an_event_the_patients_are_the_units():
    found = rao_scott_wilson([0] * 20, [2] * 20)
    assert found.method is Method.PATIENTS
    assert (found.events, found.total, found.rate) == (0, 40, 0)
    assert limits(found) == pytest.approx((0, 0.1611), abs=5e-5)  # Newcombe 1998, 0 of 20
    assert found.one_sided == pytest.approx(1 - 0.05 ** (1 / 20))


def test_with_only_events_the_patients_are_the_units():
    found = rao_scott_wilson([2] * 20, [2] * 20)
    assert limits(found) == pytest.approx((1 - 0.1611, 1), abs=5e-5)
    assert found.one_sided == pytest.approx(0.05 ** (1 / 20))


@pytest.mark.parametrize(("patients", "words"), [(1, "1 patient,"), (4, "4 patients,")])
def test_too_few_patients_give_counts_only(patients, words):
    found = rao_scott_wilson([1] + [0] * (patients - 1), [2] * patients)
    assert not found.shown
    assert (found.rate, found.low, found.high, found.method) == (None, None, None, Method.NONE)
    assert words in found.withheld


def test_five_patients_give_an_interval():
    assert rao_scott_wilson([1, 0, 0, 0, 0], [2] * 5).shown


samples = st.lists(st.integers(1, 4), min_size=5, max_size=40).flatmap(
    lambda totals: st.tuples(st.tuples(*[st.integers(0, total) for total in totals]).map(list), st.just(totals))
)


@given(samples)
@settings(max_examples=150, deadline=None)
def test_copying_every_side_within_its_patient_changes_nothing(sample):
    events, totals = sample
    assume(0 < sum(events) < sum(totals))
    assume(max(totals) > 1)
    assume(design_effect(events, totals) >= 1)

    once = rao_scott_wilson(events, totals)
    twice = rao_scott_wilson([2 * found for found in events], [2 * total for total in totals])

    assert limits(twice) == pytest.approx(limits(once), abs=1e-12)
    assert twice.design_effect == pytest.approx(2 * once.design_effect)


@given(samples)
@settings(max_examples=150, deadline=None)
def test_is_never_narrower_than_independent_units_and_stays_within_0_and_1(sample):
    events, totals = sample
    found, naive = rao_scott_wilson(events, totals), wilson(sum(events), sum(totals))
    assert 0 <= found.low <= found.rate <= found.high <= 1
    assert found.high - found.low >= naive.high - naive.low - 1e-12


@given(samples, st.randoms(use_true_random=False))
@settings(max_examples=50, deadline=None)
def test_the_order_of_patients_is_irrelevant(sample, random):
    pairs = list(zip(*sample, strict=True))
    random.shuffle(pairs)
    shuffled = rao_scott_wilson([found for found, _ in pairs], [total for _, total in pairs])
    assert limits(shuffled) == pytest.approx(limits(rao_scott_wilson(*sample)), abs=1e-12)


@given(samples)
@settings(max_examples=50, deadline=None)
def test_events_and_non_events_mirror_each_other(sample):
    events, totals = sample
    mirrored = rao_scott_wilson([total - found for found, total in zip(events, totals, strict=True)], totals)
    found = rao_scott_wilson(events, totals)
    assert limits(found) == pytest.approx((1 - mirrored.high, 1 - mirrored.low), abs=1e-9)


@pytest.mark.parametrize(
    ("events", "totals", "words"),
    [
        ([1], [1, 1], "events_by_cluster must have as many entries as totals_by_cluster, 2, not 1"),
        ([], [], "totals_by_cluster must hold at least 1 cluster, not 0"),
        ([0, 3], [1, 2], "cluster 1: events must be from 0 to 2, not 3"),
        ([0, 0], [1, 0], "cluster 1: total must be at least 1, not 0"),
    ],
)
def test_refuses_what_is_no_sample(events, totals, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        rao_scott_wilson(events, totals)


def test_covers_where_the_naive_interval_does_not():
    """150 patients, 1 to 4 sides each, true rate 5 %, correlation 0.5 within a patient; 1,000 seeded samples."""
    random = np.random.default_rng(20240330)
    rate, correlation, patients, samples = 0.05, 0.5, 150, 1000
    spread = (1 - correlation) / correlation
    clustered_hits = naive_hits = 0
    for _ in range(samples):
        totals = random.choice([1, 2, 3, 4], p=[0.3, 0.3, 0.2, 0.2], size=patients)
        risks = random.beta(rate * spread, (1 - rate) * spread, size=patients)
        events = random.binomial(totals, risks)
        found, naive = rao_scott_wilson(events.tolist(), totals.tolist()), wilson(int(events.sum()), int(totals.sum()))
        clustered_hits += found.low <= rate <= found.high
        naive_hits += naive.low <= rate <= naive.high
    assert 0.92 <= clustered_hits / samples <= 0.98
    assert naive_hits / samples < 0.93


@given(st.integers(5, 60).flatmap(lambda size: st.lists(st.integers(0, 1), min_size=size, max_size=size)))
@settings(max_examples=50, deadline=None)
def test_the_design_effect_of_single_units_is_one_but_for_the_small_sample_factor(events):
    assume(0 < sum(events) < len(events))
    assert design_effect(events, [1] * len(events)) == pytest.approx(len(events) / (len(events) - 1))


def test_korn_graubard_is_clopper_pearson_on_the_effective_size():
    """The formula written out; R's survey::svyciprop(method="beta") uses the same quantiles of t."""
    events, totals = [2, 0, 0, 0, 0, 0], [2, 2, 2, 2, 1, 1]
    size = 10 / 2.34 * (student.ppf(0.975, 9) / student.ppf(0.975, 5)) ** 2

    found = korn_graubard(events, totals)

    x = 0.2 * size
    expected = beta.ppf(0.025, x, size - x + 1), beta.ppf(0.975, x + 1, size - x)
    assert limits(found) == pytest.approx(expected)
    assert (found.method, found.effective_total) == (Method.KORN_GRAUBARD, pytest.approx(size))


def test_korn_graubard_without_an_event_takes_patients_as_units():
    found, every = korn_graubard([0] * 20, [2] * 20), korn_graubard([2] * 20, [2] * 20)
    assert limits(found) == limits(clopper_pearson(0, 20))
    assert limits(every) == limits(clopper_pearson(20, 20))
    assert found.method is Method.PATIENTS_EXACT
    assert found.one_sided == pytest.approx(1 - 0.05 ** (1 / 20))
    assert not korn_graubard([1, 0, 0], [2, 2, 2]).shown


@given(samples)
@settings(max_examples=100, deadline=None)
def test_korn_graubard_never_claims_more_than_independent_units(sample):
    events, totals = sample
    found, naive = korn_graubard(events, totals), clopper_pearson(sum(events), sum(totals))
    assert 0 <= found.low <= found.rate <= found.high <= 1
    assert found.high - found.low >= naive.high - naive.low - 1e-12


@given(samples)
@settings(max_examples=60, deadline=None)
def test_the_correlation_is_that_of_an_analysis_of_variance(sample):
    """Mean squares of single 0s and 1s, computed here unit by unit."""
    events, totals = sample
    assume(0 < sum(events) < sum(totals))
    assume(max(totals) > 1)
    groups = [np.array([1] * y + [0] * (m - y)) for y, m in zip(events, totals, strict=True)]
    units = np.concatenate(groups)
    between = sum(len(own) * (own.mean() - units.mean()) ** 2 for own in groups) / (len(groups) - 1)
    within = sum(((own - own.mean()) ** 2).sum() for own in groups) / (len(units) - len(groups))
    usual = (len(units) - sum(len(own) ** 2 for own in groups) / len(units)) / (len(groups) - 1)

    found = intraclass_correlation(events, totals)

    assert found.value == pytest.approx((between - within) / (between + (usual - 1) * within), abs=1e-9)
    assert found.for_planning == max(0.0, found.value)


def test_the_mean_squares_agree_with_another_program():
    """Referee: statsmodels anova_lm, one-way, of the litters of Weil 1970, treated group."""
    events = [12, 11, 10, 9, 10, 9, 9, 8, 8, 4, 7, 4, 5, 3, 3, 0]
    totals = [12, 11, 10, 9, 11, 10, 10, 9, 9, 5, 9, 7, 10, 6, 10, 7]
    hits = [hit for y, m in zip(events, totals, strict=True) for hit in [1] * y + [0] * (m - y)]
    litters = [place for place, m in enumerate(totals) for _ in range(m)]
    data = pd.DataFrame({"y": hits, "litter": litters})
    between, within = anova_lm(ols("y ~ C(litter)", data).fit())["mean_sq"]
    usual = (145 - sum(m * m for m in totals) / 145) / 15
    found = intraclass_correlation(events, totals).value
    assert found == pytest.approx((between - within) / (between + (usual - 1) * within))


@pytest.mark.parametrize(
    ("events", "totals", "words"),
    [
        ([1, 0, 0, 0], [2, 2, 2, 2], "not estimable: 4 patients, at least 5 are needed"),
        ([1, 0, 0, 0, 0], [1] * 5, "not estimable: every patient has one unit"),
        ([0] * 5, [2] * 5, "not estimable: no unit had the event"),
        ([2] * 5, [2] * 5, "not estimable: every unit had the event"),
    ],
)
def test_a_correlation_that_cannot_be_seen_says_so(events, totals, words):
    found = intraclass_correlation(events, totals)
    assert (found.value, found.for_planning, found.withheld, found.shown) == (None, None, words, False)


def test_the_correlation_of_all_or_nothing_is_one_and_of_opposites_negative():
    assert intraclass_correlation([2, 0, 2, 0, 0], [2] * 5).value == pytest.approx(1)
    assert intraclass_correlation([1] * 5, [2] * 5).value == pytest.approx(-1)


def test_the_adjusted_chi_square_of_single_units_is_nearly_pearsons():
    """Referee: scipy.stats.chi2_contingency; the sizes are smaller by the factor of the design effect."""
    found = rao_scott_chi_square([([1] * 12 + [0] * 48, [1] * 60), ([1] * 5 + [0] * 55, [1] * 60)])
    pearson = chi2_contingency([[12, 48], [5, 55]], correction=False)
    assert found.statistic == pytest.approx(pearson.statistic * 59 / 60)
    assert found.degrees == 1
    assert found.p == pytest.approx(pearson.pvalue, rel=0.05)


def test_three_groups_with_one_without_events():
    found = rao_scott_chi_square([([2] * 6 + [0] * 9, [2] * 15), ([0] * 12, [2] * 12), ([1] * 15, [2] * 15)])
    assert found.degrees == 2
    assert found.effects[1] is None
    assert found.sizes == pytest.approx((30 / found.effects[0], 12, 30))
    assert found.shown


@pytest.mark.parametrize(
    ("groups", "words"),
    [
        (
            [([1] * 9, [2] * 9), ([1] * 12, [2] * 12)],
            "too few to compare: 9 patients in a group, at least 10 are needed",
        ),
        ([([1, 0] * 5, [2] * 10), ([0] * 10, [1] * 10)], ""),
        ([([1] + [0] * 9, [2] * 10)] * 2, "too few to compare: 2 events in all, at least 5 are needed"),
        ([([0] * 10, [2] * 10)] * 2, "not estimable: no unit had the event"),
        ([([2] * 10, [2] * 10)] * 2, "not estimable: every unit had the event"),
        ([([2], [2]), ([0] * 10, [2] * 10)], "too few to compare: 1 patient in a group, at least 10 are needed"),
    ],
)
def test_a_test_on_thin_data_says_so(groups, words):
    found = rao_scott_chi_square(groups)
    assert found.withheld == words
    assert (found.statistic is None) == words.startswith("not estimable")


def test_refuses_groups_that_are_none():
    with pytest.raises(ValueError, match=r"^groups must hold at least 2 groups, not 1$"):
        rao_scott_chi_square([([1], [1])])
    with pytest.raises(ValueError, match=r"^group 1: cluster 0: events must be from 0 to 1, not 2$"):
        rao_scott_chi_square([([1], [1]), ([2], [1])])


def test_words_for_thin_comparisons():
    assert too_thin_to_compare((10, 10), 5) == ""
    assert too_thin_to_compare((10, 10), 1) == "too few to compare: 1 event in all, at least 5 are needed"


def test_holds_its_level_where_the_naive_test_does_not():
    """Two groups of 60 patients, true rate 20 % in both, correlation 0.5 within a patient; 600 seeded samples."""
    random = np.random.default_rng(20250214)
    rate, correlation, patients, samples = 0.2, 0.5, 60, 600
    spread = (1 - correlation) / correlation
    clustered = naive = 0
    for _ in range(samples):
        groups, table = [], []
        for _ in range(2):
            totals = random.choice([1, 2, 3, 4], p=[0.3, 0.3, 0.2, 0.2], size=patients)
            events = random.binomial(totals, random.beta(rate * spread, (1 - rate) * spread, size=patients))
            groups.append((events.tolist(), totals.tolist()))
            table.append([events.sum(), totals.sum() - events.sum()])
        clustered += rao_scott_chi_square(groups).p < 0.05
        naive += chi2_contingency(table, correction=False).pvalue < 0.05
    assert clustered / samples < 0.08
    assert naive / samples > 0.09
