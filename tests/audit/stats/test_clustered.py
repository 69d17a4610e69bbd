"""The clustered interval against its formula written out, its properties, and a seeded simulation."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from audit.stats.clustered import design_effect, rao_scott_wilson
from audit.stats.proportion import Method, wilson

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
