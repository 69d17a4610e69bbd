"""Agreement against formulas written out cell by cell, another program, and seeded simulations."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from statsmodels.stats.inter_rater import cohens_kappa

from audit.referees.agreement import CALLS
from audit.stats.agreement import agreement, agreement_of_patients
from audit.stats.clustered import rao_scott_wilson
from tests.audit.stats.entries import agree, entries

two_by_two = st.lists(st.integers(0, 80), min_size=4, max_size=4).map(lambda cells: [cells[:2], cells[2:]])
square = st.integers(2, 5).flatmap(
    lambda size: st.lists(st.lists(st.integers(0, 40), min_size=size, max_size=size), min_size=size, max_size=size)
)


@pytest.mark.parametrize("entry", entries("agreement"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


@given(square)
@settings(max_examples=80, deadline=None)
def test_kappa_and_its_error_agree_with_another_program(table):
    """Referee: statsmodels cohens_kappa; and both margins written out."""
    assume(np.sum(table) >= 50)
    found = agreement(table)
    assume(found.shown)
    assume(not found.missing)
    expected = cohens_kappa(np.array(table))
    assert found.kappa == pytest.approx(expected.kappa, abs=1e-12)
    assert found.kappa_error == pytest.approx(expected.std_kappa, abs=1e-9)


@given(square)
@settings(max_examples=80, deadline=None)
def test_ac1_written_out(table):
    assume(np.sum(table) >= 50)
    found = agreement(table)
    assume(found.shown)
    share = np.array(table) / np.sum(table)
    size = len(table)
    mean = [(share[k].sum() + share[:, k].sum()) / 2 for k in range(size)]
    by_chance = sum(p * (1 - p) for p in mean) / (size - 1)
    assert found.ac1 == pytest.approx((found.observed - by_chance) / (1 - by_chance))
    assert found.observed == pytest.approx(sum(share[k, k] for k in range(size)))


@given(two_by_two)
@settings(max_examples=80, deadline=None)
def test_two_categories_written_out(table):
    (d, b), (c, a) = table
    assume(a + b + c + d >= 50)
    assume(a + b + c >= 5)
    found = agreement(table)
    assert found.pabak == pytest.approx(2 * (a + d) / (a + b + c + d) - 1)
    assert found.positive == pytest.approx(2 * a / (2 * a + b + c))
    assert found.negative is None or found.negative == pytest.approx(2 * d / (2 * d + b + c))


@given(square)
@settings(max_examples=50, deadline=None)
def test_exchanged_readings_agree_as_much(table):
    assume(np.sum(table) > 0)
    one, other = agreement(table), agreement(np.transpose(table))
    for name in ("observed", "kappa", "kappa_error", "ac1", "pabak", "positive", "negative"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-12)


def test_the_finding_may_come_first():
    first, last = agreement([[20, 5], [3, 80]], positive=0), agreement([[80, 3], [5, 20]])
    assert first.positive == pytest.approx(last.positive) == pytest.approx(40 / 48)
    assert first.negative == pytest.approx(last.negative) == pytest.approx(160 / 168)


def test_a_rare_finding_makes_kappa_low_at_high_agreement():
    """Gwet's paradox: 94 % agreement, kappa below 0; the finding itself is never agreed on."""
    found = agreement([[118, 5], [2, 0]])
    assert found.observed == pytest.approx(0.944)
    assert found.kappa < 0 < 0.9 < found.ac1
    assert found.positive == 0


def test_kappa_of_one_category_is_not_estimable():
    for table in ([[0, 0], [0, 60]], [[60, 0, 0], [0, 0, 0], [0, 0, 0]]):
        found = agreement(table)
        assert (found.kappa, found.kappa_error) == (None, None)
        assert found.missing == "not estimable: both readings use one category only"
        assert (found.observed, found.ac1) == (1, 1)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ([[40, 3], [2, 4]], "too few to judge: 49 pairs, at least 50 are needed"),
        ([[1, 0], [0, 0]], "too few to judge: 1 pair, at least 50 are needed"),
        ([[96, 2], [1, 1]], "too few to judge: 4 with the finding by either reading, at least 5 are needed"),
        ([[40, 3], [2, 5]], ""),
        ([[96, 2], [1, 2]], ""),
    ],
)
def test_thin_tables_give_counts_and_observed_agreement_only(table, words):
    found = agreement(table)
    assert (found.withheld, found.shown) == (words, not words)
    assert found.observed == pytest.approx((table[0][0] + table[1][1]) / np.sum(table))
    assert (found.kappa is None) == bool(words)
    assert (found.ac1 is None) == bool(words)
    assert (found.positive is None) == bool(words)


def readings(random, patients, sides=3, finding=0.2, slip=0.1):
    patient = np.repeat(np.arange(patients), random.integers(1, sides + 1, patients))
    prone = random.random(patients) < finding
    truth = np.where(random.random(patient.size) < 0.9, prone[patient], ~prone[patient])
    first, second = (np.where(random.random(truth.size) < slip, ~truth, truth).astype(int) for _ in range(2))
    return patient, first, second


def test_pairs_of_patients_give_the_table_and_intervals_around_it():
    patient, first, second = readings(np.random.default_rng(3), 60)
    found = agreement_of_patients(patient, first, second)
    table = [[int(((first == a) & (second == b)).sum()) for b in (0, 1)] for a in (0, 1)]
    assert found.agreement == agreement(table)
    assert found.patients == 60
    events = [int((first == second)[patient == k].sum()) for k in range(60)]
    assert found.observed == rao_scott_wilson(events, np.bincount(patient).tolist())
    for index, limits in (("kappa", found.kappa), ("ac1", found.ac1), ("positive", found.positive)):
        assert limits.low < getattr(found.agreement, index) < limits.high
    assert not found.caution


def test_the_same_data_give_the_same_limits_whatever_their_order_or_names():
    patient, first, second = readings(np.random.default_rng(4), 40)
    plain = agreement_of_patients(patient, first, second)
    order = np.random.default_rng(9).permutation(patient.size)
    names = np.array([f"key {97 * number % 40}" for number in range(40)])
    other = agreement_of_patients(names[patient][order], first[order], second[order])
    assert (plain.kappa, plain.ac1, plain.positive, plain.seed) == (other.kappa, other.ac1, other.positive, other.seed)
    changed = agreement_of_patients(patient, 1 - first, second)
    assert changed.seed != plain.seed


def test_doubled_patients_are_no_new_information():
    """Every pair twice within its patient: the same limits but for chance, where pairs as units would be narrower."""
    patient, first, second = readings(np.random.default_rng(6), 80, sides=1)
    once = agreement_of_patients(patient, first, second)
    twice = agreement_of_patients(*(np.tile(values, 2) for values in (patient, first, second)))
    assert (twice.kappa.low, twice.kappa.high) == pytest.approx((once.kappa.low, once.kappa.high), abs=0.03)


@pytest.mark.parametrize(
    ("patients", "pairs", "words"),
    [
        (4, 60, "not enough patients for an interval: 4 patients, at least 5 are needed"),
        (1, 60, "not enough patients for an interval: 1 patient, at least 5 are needed"),
        (40, 40, "too few to judge: 40 pairs, at least 50 are needed"),
    ],
)
def test_thin_data_have_no_limits(patients, pairs, words):
    patient = np.arange(pairs) % patients
    first = (np.arange(pairs) % 3 == 0).astype(int)
    second = np.where(np.arange(pairs) % 10 == 0, 1 - first, first)
    found = agreement_of_patients(patient, first, second)
    for limits in (found.kappa, found.ac1, found.positive):
        assert (limits.low, limits.high, limits.withheld) == (None, None, words)
    assert found.caution == (f"too few to judge: {patients} patients" if patients < 20 else "")


def test_limits_of_full_agreement_and_of_one_category_say_why_there_are_none():
    patient = np.repeat(np.arange(30), 2)
    mixed = (np.arange(60) % 4 == 0).astype(int)
    alike = agreement_of_patients(patient, mixed, mixed)
    assert alike.agreement.kappa == pytest.approx(1)
    assert alike.kappa.withheld == "not estimable: nothing varies between the patients"
    one = agreement_of_patients(patient, [1] * 60, [1] * 60)
    assert one.kappa.unknown == one.replicates
    assert one.kappa.withheld == "not estimable in 2000 of 2000 replicates"


def test_more_than_two_categories():
    patient = np.repeat(np.arange(30), 2)
    first = np.arange(60) % 3
    second = np.where(np.arange(60) % 7 == 0, (first + 1) % 3, first)
    found = agreement_of_patients(patient, first, second, categories=3)
    assert len(found.agreement.table) == 3
    assert found.kappa.low < found.agreement.kappa < found.kappa.high
    assert found.positive.withheld == "only with two categories"
    assert found.agreement.pabak is None


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: agreement([[1, 2]]), r"table must have as many rows as columns, at least 2, not the shape \(1, 2\)"),
        (lambda: agreement([[0, 0], [0, 0]]), "table must hold at least 1 pair, not 0"),
        (lambda: agreement([[1, -2], [0, 4]]), "table must hold whole numbers of 0 or more, not -2"),
        (lambda: agreement([[1, 2.5], [0, 4]]), "table must hold whole numbers of 0 or more, not 2.5"),
        (lambda: agreement([[1, float("nan")], [0, 4]]), "table must hold whole numbers of 0 or more, not nan"),
        (lambda: agreement([[1, 2], [0, 4]], positive=2), "positive must be 0 or 1, not 2"),
        (lambda: agreement_of_patients([], [], []), "patients must hold at least 1 pair, not 0"),
        (
            lambda: agreement_of_patients([1, 2], [0], [0, 1]),
            r"first must have the length of patients, \(2,\), not \(1,\)",
        ),
        (
            lambda: agreement_of_patients([1, 2], [0, 1], [0, 2]),
            r"second\[1\] must be a whole number from 0 to 1, not 2",
        ),
        (lambda: agreement_of_patients([1], [0], [0], replicates=999), "replicates must be at least 1000, not 999"),
        (lambda: agreement_of_patients([1], [0], [0], categories=1), "categories must be at least 2, not 1"),
        (lambda: agreement_of_patients([1], [0], [0], level=95), "level must be between 0 and 1, not 95"),
    ],
)
def test_refuses_what_are_no_readings(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()


def test_the_limits_cover_where_pairs_as_units_would_not():
    """60 patients with 1 to 6 sides whose readings slip together; 300 seeded samples."""
    random = np.random.default_rng(20250607)

    def draw(patients):
        patient = np.repeat(np.arange(patients), random.integers(1, 7, patients))
        hard = random.random(patients) < 0.3
        truth = random.random(patient.size) < 0.3
        slip = np.where(hard, 0.4, 0.02)[patient]
        return patient, *(np.where(random.random(truth.size) < slip, ~truth, truth).astype(int) for _ in range(2))

    truth = agreement_of_patients(*draw(40_000), replicates=1000).agreement.ac1
    hits, naive_hits = 0, 0
    for _ in range(300):
        patient, first, second = draw(60)
        found = agreement_of_patients(patient, first, second, replicates=1000)
        naive = agreement_of_patients(np.arange(patient.size), first, second, replicates=1000)
        hits += found.ac1.low <= truth <= found.ac1.high
        naive_hits += naive.ac1.low <= truth <= naive.ac1.high
    assert 0.90 <= hits / 300 <= 0.98
    assert naive_hits < hits
