"""The bootstrap against drawing rows of patients one by one, its limits against another program, and its edges."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from audit.stats import replicates as replicates_module
from audit.stats import stacked_newton
from audit.stats.bootstrap import CurveMethod, complementary_log_log_limits, regrowth
from audit.stats.constrained_newton import maximise, run_masses
from audit.stats.curve_difference import regrowth_difference
from audit.stats.intervals import aggregate, aggregate_rows, maximal_intersections
from audit.stats.patient_types import patient_numbers, patient_types
from audit.stats.proportion import score_limits
from audit.stats.replicates import fit_draws, replicate_shares
from audit.stats.samples import sample_of, samples_of
from audit.stats.stacked_newton import maximise_stack
from audit.stats.turnbull import npmle
from tests.benchmarks.data import clinic, true_share

INF = np.inf


def rows(sides, seed=1, correlation=0.3):
    found = clinic(sides, seed, correlation)
    return found.patient, *found.intervals()


def reviewed(patients, last=400.0, regrown=()):
    """Patients with two sides each, clear until `last`; those named regrew between day 100 and 200."""
    patient = np.repeat(np.arange(patients), 2)
    right = np.where(np.isin(patient, regrown), 200, INF)
    return patient, np.where(np.isfinite(right), 100, last), right


def test_the_spread_is_that_of_curves_refitted_to_patients_drawn_row_by_row():
    patient, left, right = rows(400)
    random = np.random.default_rng(5)
    own_rows = [np.flatnonzero(patient == one) for one in range(patient.max() + 1)]
    shares = []
    for _ in range(600):
        drawn = np.concatenate([own_rows[one] for one in random.integers(0, len(own_rows), len(own_rows))])
        shares.append(npmle(left[drawn], right[drawn]).at(365).middle)
    found = regrowth(patient, left, right, days=[365], replicates=2_000).days[0]
    assert found.standard_error == pytest.approx(np.std(shares), rel=0.1)


@pytest.mark.parametrize("stacked_up_to", [0, 1_000])
def test_every_draw_is_as_likely_as_its_fit_from_the_start(monkeypatch, stacked_up_to):
    """20 draws fitted without a start, in log-likelihood to 1e-8 of its size, whichever way the draws are fitted."""
    monkeypatch.setattr(replicates_module, "STACKED_UP_TO", stacked_up_to)
    sample = sample_of(*rows(1_500))
    random, types = np.random.default_rng(3), sample.types
    draws = [random.multinomial(types.patients, types.multiplicity / types.patients) for _ in range(20)]
    weights = np.array([types.interval_weights(drawn, len(sample.intervals.left)) for drawn in draws])
    supports, masses, gap = fit_draws(sample, weights)
    assert gap <= 1e-8
    for support, weight, mass in zip(supports, weights, masses, strict=True):
        kept = weight > 0
        first, last = support.first[kept], support.last[kept]
        cold = maximise(first, last, weight[kept], len(support.ends)).mass
        likely, from_start = (weight[kept] @ np.log(run_masses(first, last, one)) for one in (mass, cold))
        assert likely == pytest.approx(from_start, rel=1e-8)


def test_both_ways_to_fit_draws_give_the_same_shares(monkeypatch):
    sample = sample_of(*rows(600))
    found = []
    for limit in (0, 1_000):
        monkeypatch.setattr(replicates_module, "STACKED_UP_TO", limit)
        found.append(replicate_shares([sample], sample.types, [90, 365, 730], 50, np.random.default_rng(3))[0])
    assert found[0].middle == pytest.approx(found[1].middle, abs=1e-6)
    assert found[0].known.tolist() == found[1].known.tolist()


def test_draws_of_a_small_sample_need_no_fit_of_their_own(monkeypatch):
    def alone(*arguments):
        raise AssertionError("a draw was not finished in the stack")

    sample = sample_of(*rows(600))
    monkeypatch.setattr(stacked_newton, "maximise", alone)
    found = replicate_shares([sample], sample.types, [365], 100, np.random.default_rng(3))[0]
    assert found.known.all()


def test_the_middle_of_the_bounds_is_drawn():
    """Six patients with one side in (0, 100] and one clear on day 400: by day 50 the share is from 0 to one half."""
    sample = sample_of(np.arange(12) % 6, np.repeat([0.0, 400.0], 6), np.repeat([100.0, INF], 6))
    found = replicate_shares([sample], sample.types, [50], 10, np.random.default_rng(1))[0]
    assert found.middle.ravel() == pytest.approx([0.25] * 10)


@given(
    st.lists(st.tuples(st.integers(0, 9), st.integers(0, 5)), min_size=1, max_size=15),
    st.integers(1, 6),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=60, deadline=None)
def test_a_stack_of_samples_is_fitted_like_each_alone(sample, rows, seed):
    left, width = np.array(sample, dtype=float).T
    intervals = aggregate(left, np.where(width > 4, INF, np.maximum(left + width, 1)))
    assume(len(intervals.left))
    support = maximal_intersections(intervals)
    weights = np.random.default_rng(seed).integers(1, 50, (rows, len(intervals.left))).astype(float)
    size = len(support.ends)
    same = [np.tile(values, (rows, 1)) for values in (support.first, support.last)]
    masses, gaps = maximise_stack(*same, weights, np.ones((rows, size)))
    assert gaps.max() <= 1e-8
    for weight, mass in zip(weights, masses, strict=True):
        alone = maximise(support.first, support.last, weight, size)
        assert mass == pytest.approx(alone.mass, abs=1e-5)
        likely = [weight @ np.log(run_masses(support.first, support.last, one)) for one in (mass, alone.mass)]
        assert likely[0] == pytest.approx(likely[1], rel=1e-9, abs=1e-9)


def test_a_singular_approximation_in_a_stack_is_solved_with_a_little_on_the_diagonal():
    products = np.array([[[1.0, 1.0], [1.0, 1.0]], [[2.0, 0.0], [0.0, 1.0]]])
    found = stacked_newton._solved(products, np.array([[[1.0], [1.0]], [[2.0], [3.0]]]))
    assert found[0].sum() == pytest.approx(1)
    assert found[1].ravel() == pytest.approx([1, 3])


def test_drawing_types_of_patients_is_drawing_patients():
    """Weights of a draw of types are the sides of the same draw of patients, counted."""
    patient, left, right = rows(300)
    intervals, index = aggregate_rows(left, right)
    types = patient_types(patient_numbers(patient, len(index)), index)
    drawn = np.random.default_rng(1).integers(0, patient.max() + 1, 200)
    of_type = types.patient_type[drawn]
    weights = types.interval_weights(np.bincount(of_type[of_type >= 0], minlength=len(types.multiplicity)), 1_000)
    expected = np.zeros(1_000)
    for one in drawn:
        own = index[(patient == one) & (index >= 0)]
        np.add.at(expected, own, 1)
    assert weights.tolist() == expected.tolist()
    assert types.interval_weights(types.multiplicity, len(intervals.left)).tolist() == intervals.weight.tolist()


def test_patients_are_one_type_exactly_if_their_sides_have_the_same_intervals():
    patient = np.array([0, 0, 1, 1, 2, 2, 3, 4, 5, 5, 6])
    interval = np.array([2, 1, 1, 2, 1, 1, 1, -1, 1, -1, 2])
    types = patient_types(patient, interval)
    assert types.patient_type.tolist() == [3, 3, 2, 0, -1, 0, 1]
    assert types.multiplicity.tolist() == [2, 1, 1, 2]
    assert types.patients == 6


def test_same_data_same_numbers_whatever_the_order_of_rows_and_the_names_of_patients():
    patient, left, right = rows(300)
    found = regrowth(patient, left, right)
    order = np.random.default_rng(9).permutation(len(patient))
    names = np.array([f"patient {(one * 7919) % 1009}" for one in patient])
    again = regrowth(names[order], left[order], right[order])
    assert again.seed == found.seed
    assert again.days == found.days


def test_sides_and_patients_that_say_nothing_change_nothing():
    patient, left, right = rows(300)
    found = regrowth(patient, left, right)
    more = regrowth(np.append(patient, [0, 5_000]), np.append(left, [0, 0]), np.append(right, [INF, INF]))
    assert more.days == found.days


def test_copying_every_side_within_its_patient_adds_no_information():
    patient, left, right = rows(600)
    once, twice = (
        regrowth(np.repeat(patient, times), np.repeat(left, times), np.repeat(right, times), days=[365]).days[0]
        for times in (1, 2)
    )
    assert twice.share.middle == pytest.approx(once.share.middle, abs=1e-7)
    assert twice.standard_error == pytest.approx(once.standard_error, rel=0.1)


def test_limits_on_the_complementary_log_log_scale_are_those_of_another_program():
    """R 4.2.2, survival 3.5-3, survfit(conf.type = "log-log") of the maintained arm of aml: survival, standard error,
    lower and upper limit of survival at two times."""
    for survival, error, low, high in [
        (0.909090909091, 0.0866784172041, 0.5080802057699, 0.986673822668),
        (0.184090909091, 0.153492745786, 0.0117384801232, 0.525014842727),
    ]:
        found = complementary_log_log_limits(1 - survival, error)
        assert found == pytest.approx((1 - high, 1 - low), abs=1e-9)


@pytest.mark.parametrize(("share", "error"), [(0, 0.1), (1, 0.1), (0.5, -1), (0.5, INF)])
def test_limits_refuse_what_is_outside(share, error):
    with pytest.raises(ValueError, match="must be"):
        complementary_log_log_limits(share, error)


def test_limits_hold_the_share_and_stay_within_0_and_1():
    for share in (1e-9, 0.01, 0.5, 0.99):
        for error in (0, 1e-6, 0.2, 5.0):
            low, high = complementary_log_log_limits(share, error)
            assert 0 <= low <= share * (1 + 1e-12)
            assert share * (1 - 1e-12) <= high <= 1


def test_when_nothing_regrew_the_patients_are_the_units():
    """Wilson and the exact one-sided limit with the patients still under observation, Hanley & Lippman-Hand 1983."""
    found = regrowth(*reviewed(30), days=[365]).days[0]
    assert found.method is CurveMethod.PATIENTS
    assert (found.share.middle, found.low) == (0, 0)
    assert found.high == pytest.approx(score_limits(0, 30)[1])
    assert found.one_sided == pytest.approx(beta.ppf(0.95, 1, 30))
    assert (found.patients, found.sides) == (30, 60)


def test_when_one_patient_regrew_the_patients_are_the_units_too():
    found = regrowth(*reviewed(30, regrown=[4]), days=[365]).days[0]
    assert found.method is CurveMethod.PATIENTS
    assert found.share.middle == pytest.approx(2 / 60)
    assert found.low < 2 / 60 < found.high
    assert found.one_sided is None
    two = regrowth(*reviewed(30, regrown=[4, 5]), days=[365]).days[0]
    assert two.method is CurveMethod.BOOTSTRAP


def test_only_patients_who_can_have_regrown_by_the_day_count_for_that():
    patient, left, right = reviewed(30, regrown=[4, 5])
    left[patient == 5], right[patient == 5] = 300, 400
    found = regrowth(patient, left, right, days=[250, 365]).days
    assert [share.method for share in found] == [CurveMethod.PATIENTS, CurveMethod.BOOTSTRAP]


def test_a_few_patients_give_counts_some_give_a_word_of_caution():
    few = regrowth(*reviewed(4, regrown=[1, 2]))
    assert [day.withheld for day in few.days] == [
        "not enough patients for a rate: 4 patients, at least 5 are needed"
    ] * 3
    assert (few.replicates, few.sample.event_patients, few.sample.event_sides) == (0, 2, 4)
    some = regrowth(*reviewed(12, regrown=[1, 2]), days=[365]).days[0]
    assert some.caution == "too few to judge: 12 patients"
    assert some.shown
    assert regrowth(*reviewed(20, regrown=[1, 2]), days=[365]).days[0].caution == ""


def test_the_curve_ends_with_ten_patients_under_observation():
    patient, left, right = reviewed(30, regrown=[1, 2])
    left[(patient >= 9) & np.isinf(right)] = 250  # seven stay until 400
    found = regrowth(patient, left, right, days=[180, 365])
    assert found.sample.last_shown_day == 250
    assert found.days[0].shown
    late = found.days[1]
    assert late.withheld == "not enough patients seen on or after day 365: 7 of 10"
    assert (late.low, late.high, late.share.middle, late.patients) == (None, None, None, 7)


@pytest.mark.parametrize("silent", [0, 6])
def test_without_a_telling_review_there_is_nothing_to_show(silent):
    found = regrowth(np.arange(silent), np.zeros(silent), np.full(silent, INF))
    assert {day.withheld for day in found.days} == {"not estimable: no side has a review that tells anything"}
    assert found.sample.last_shown_day is None


def test_numbers_under_observation_by_side_and_by_patient():
    sample = sample_of([0, 0, 1, 1], [0, 100, 100, 365], [30, INF, INF, INF])
    assert [sample.sides_observed(day) for day in (0, 1, 100, 101, 366)] == [4, 3, 3, 1, 0]
    assert [sample.patients_observed(day) for day in (0, 100, 101, 366)] == [2, 2, 1, 0]
    assert (sample.patients, sample.sides, sample.event_patients, sample.event_sides) == (2, 4, 1, 1)


def test_the_last_day_shown_is_that_of_the_tenth_patient_from_the_end():
    patient = np.repeat(np.arange(12), 2)
    assert sample_of(patient, np.arange(1.0, 25.0), np.full(24, INF)).last_shown_day == 6
    assert sample_of(patient[:18], np.arange(1.0, 19.0), np.full(18, INF)).last_shown_day is None


def test_a_draw_without_anyone_so_late_has_no_estimate():
    sample = sample_of([0, 1, 2, 3], [0, 0, 200, 400], [100, 100, INF, INF])
    found = replicate_shares([sample], sample.types, [300], 200, np.random.default_rng(1))[0]
    assert 0 < np.count_nonzero(found.known) < 200
    assert (found.middle[~found.known] == 0).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"replicates": 999}, "replicates must be at least 1000, not 999"),
        ({"level": 1.0}, "level must be between 0 and 1, not 1.0"),
        ({"days": [-1]}, "days must be finite and at least 0, not -1.0"),
        ({"days": [math.nan]}, "days must be finite and at least 0, not nan"),
        ({"left": [500.0, 100.0]}, "left and right must have one entry per side, 60, not (2,), (60,)"),
        ({"patient": [math.nan] * 60}, "patient must name a patient in every row, not nan"),
    ],
)
def test_refuses_what_is_out_of_range(change, words):
    patient, left, right = reviewed(30)
    given = {"patient": patient, "left": left, "right": right} | change
    with pytest.raises(ValueError, match="must") as refusal:
        regrowth(**given)
    assert str(refusal.value) == words


def test_the_interval_covers_the_truth_about_as_often_as_it_says():
    """40 seeded clinics of about 100 patients whose sides are alike (correlation 0.5)."""
    hits = shown = 0
    for seed in range(40):
        found = regrowth(*rows(200, seed=seed, correlation=0.5), days=[365]).days[0]
        if found.shown:
            shown += 1
            hits += found.low <= true_share(365) <= found.high
    assert shown >= 35
    assert hits / shown >= 0.85


def groups(seed=2, sides=600):
    patient, left, right = rows(sides, seed)
    return patient % 2 == 0, patient, left, right


def test_swapping_the_groups_turns_the_difference_round():
    chosen, patient, left, right = groups()
    found = regrowth_difference(chosen, patient, left, right)
    other = regrowth_difference(~chosen, patient, left, right)
    assert other.value == pytest.approx(-found.value)
    assert (other.low, other.high) == pytest.approx((-found.high, -found.low), abs=0.01)


def test_the_difference_stands_between_both_shares_and_is_wider_than_either():
    found = regrowth_difference(*groups())
    assert found.value == found.group.share.middle - found.others.share.middle
    assert found.low < found.value < found.high
    assert found.shared_patients == 0
    assert abs(found.correlation) < 0.15
    assert found.high - found.low > found.group.high - found.group.low


def test_patients_in_both_groups_tie_the_estimates_together():
    """Both sides of a patient have the same fate and lie in different groups, so the difference is nearly certain."""
    random = np.random.default_rng(8)
    patients = 120
    patient = np.repeat(np.arange(patients), 2)
    regrown = np.repeat(random.random(patients) < 0.2, 2)
    left, right = np.where(regrown, 100, 400), np.where(regrown, 200, INF)
    found = regrowth_difference(np.arange(2 * patients) % 2 == 0, patient, left, right)
    assert found.shared_patients == patients
    assert found.correlation == pytest.approx(1)
    assert found.value == 0
    apart = regrowth_difference(np.repeat(np.arange(patients) % 2 == 0, 2), patient, left, right)
    assert found.high - found.low < 0.6 * (apart.high - apart.low)


def test_a_group_where_nothing_regrew_still_has_an_uncertain_difference():
    patient, left, right = reviewed(60, regrown=range(0, 40, 4))
    found = regrowth_difference(patient % 2 == 0, patient, left, right)
    assert found.others.share.middle == 0
    assert found.shown
    assert found.value - found.low > found.others.high * 0.9


def test_a_difference_needs_ten_patients_each_and_five_regrown_sides():
    patient, left, right = reviewed(40, regrown=[0, 2])
    few_events = regrowth_difference(patient % 2 == 0, patient, left, right)
    assert few_events.withheld == "too few to compare: 4 events in all, at least 5 are needed"
    patient, left, right = reviewed(40, regrown=[0, 1, 2])
    empty = regrowth_difference(np.zeros(80, dtype=bool), patient, left, right)
    assert empty.withheld == "not estimable: no side has a review that tells anything"
    assert (empty.value, empty.low, empty.high) == (None, None, None)
    assert empty.others.shown
    nobody = regrowth_difference([], [], [], [])
    assert not nobody.shown


def test_groups_share_the_types_of_their_patients():
    samples, types = samples_of([0, 0, 1, 1], [0, 0, 0, 9], [9, 9, 9, INF], np.array([0, 1, 0, 1]), 2)
    assert types.patients == 2
    assert [sample.patients for sample in samples] == [2, 2]
    assert len(types.multiplicity) == 2
    for sample in samples:
        support = maximal_intersections(sample.intervals)
        assert len(support.start) >= 1
