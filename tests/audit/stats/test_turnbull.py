"""The curve against published values, a solver written here, and estimators that special cases reduce to."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from audit.referees.curves import CALLS
from audit.stats import constrained_newton
from audit.stats.constrained_newton import NotConverged
from audit.stats.intervals import aggregate
from audit.stats.turnbull import fit, npmle
from tests.benchmarks.data import clinic, true_share

REFERENCE = json.loads((Path(__file__).parents[3] / "fixtures/reference/curves.json").read_text("utf-8"))
INF = np.inf


def entries(call):
    return pytest.mark.parametrize(
        "entry", [entry for entry in REFERENCE if entry["call"] == call], ids=lambda entry: entry["id"]
    )


@entries("npmle")
def test_masses_agree_with_published_values(entry):
    found = CALLS["npmle"](entry["input"])
    assert found["support"] == entry["expected"]["support"]
    assert found["p"] == pytest.approx(entry["expected"]["p"], abs=entry["tolerance"])


@entries("npmle_log_likelihood")
def test_the_likelihood_agrees_with_another_program(entry):
    assert CALLS["npmle_log_likelihood"](entry["input"]) == pytest.approx(entry["expected"], abs=entry["tolerance"])


def test_days_shared_by_reviews_are_not_counted_on_both_sides():
    """lifelines 0.30.3, fit_interval_censoring, takes [L, R] as closed and gives (10, 30] one third, as a review on
    day 100 that was clear and another that was not then meet on that day. Half-open, they cannot: one half each."""
    left, right = [0, 100, 100, 10], [100, 200, INF, 30]
    assert npmle(left, right).mass.tolist() == pytest.approx([1 / 2, 1 / 2], abs=1e-8)
    just_before = [100 - 1e-6 if day == 100 else day for day in left]  # closed: the left ends reach back
    assert npmle(just_before, right).mass.tolist() == pytest.approx([1 / 3, 2 / 3], abs=1e-8)


def rows(most=25):
    widths = st.one_of(st.integers(0, 5), st.just(INF))
    interval = st.tuples(st.integers(0, 12), widths).map(lambda pair: (pair[0], max(pair[0] + pair[1], 1)))
    return st.lists(interval, min_size=1, max_size=most)


def both(sample):
    left, right = np.array(sample, dtype=float).T
    assume(((left > 0) | np.isfinite(right)).any())
    return left, right


def dense(left, right, curve):
    """The matrix of which row can hold which mass, by comparing ends; zero-mass intersections are added first."""
    _, support, mass = fit(aggregate(left, right))
    exact = support.start == support.end
    begins = np.where(left == right, left - 1e-6, left)[:, None]
    inside = (begins <= np.where(exact, support.start - 1e-6, support.start)) & (support.end <= right[:, None])
    assert mass[mass > 0].tolist() == curve.mass.tolist()
    return inside.astype(float), mass


@given(rows())
@settings(max_examples=200, deadline=None)
def test_the_optimality_condition_holds(sample):
    """Gentleman & Geyer 1994: sum over rows that can hold j of 1 / P <= n, with equality where j has mass."""
    left, right = both(sample)
    telling = (left > 0) | np.isfinite(right)
    left, right = left[telling], right[telling]
    curve = npmle(left, right)
    matrix, mass = dense(left, right, curve)
    gradient = matrix.T @ (1 / (matrix @ mass))
    assert mass.sum() == pytest.approx(1)
    assert gradient.max() <= len(left) * (1 + 1.1e-8)
    assert gradient[mass > 0] == pytest.approx(len(left), rel=1.1e-8)
    assert curve.gap <= 1e-8
    assert curve.log_likelihood == pytest.approx(np.log(matrix @ mass).sum(), abs=1e-9)


@given(rows(most=15))
@settings(max_examples=15, deadline=None)
def test_is_no_less_likely_than_ten_thousand_steps_of_the_em_algorithm(sample):
    left, right = both(sample)
    curve = npmle(left, right)
    telling = (left > 0) | np.isfinite(right)
    matrix, mass = dense(left[telling], right[telling], curve)
    slow = np.full(len(mass), 1 / len(mass))
    for _ in range(10_000):
        slow *= matrix.T @ (1 / (matrix @ slow)) / len(matrix)
    assert curve.log_likelihood >= np.log(matrix @ slow).sum() - 1e-7


@given(rows(), st.randoms(use_true_random=False))
@settings(max_examples=50, deadline=None)
def test_the_order_of_rows_is_irrelevant(sample, random):
    shuffled = list(sample)
    random.shuffle(shuffled)
    assert npmle(*both(shuffled)).mass.tolist() == npmle(*both(sample)).mass.tolist()


@given(rows(), st.sampled_from([7.0, 1 / 7, 30.4375, 1 / 365.25]))
@settings(max_examples=50, deadline=None)
def test_the_unit_of_time_is_irrelevant(sample, unit):
    left, right = both(sample)
    curve, other = npmle(left, right), npmle(left * unit, right * unit)
    assert other.mass.tolist() == curve.mass.tolist()
    assert other.end.tolist() == (curve.end * unit).tolist()


@given(rows(), st.integers(1, 50))
@settings(max_examples=50, deadline=None)
def test_sides_that_say_nothing_change_nothing(sample, silent):
    left, right = both(sample)
    more = npmle(np.append(left, np.zeros(silent)), np.append(right, np.full(silent, INF)))
    assert more.mass.tolist() == npmle(left, right).mass.tolist()
    assert more.uninformative == np.sum((left == 0) & (right == INF)) + silent


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(1, 5), st.integers(1, 6)), min_size=1, max_size=20))
@settings(max_examples=50, deadline=None)
def test_weights_are_repeated_rows(sample):
    left, width, weight = np.array(sample, dtype=float).T
    repeated = np.repeat(np.array([left, left + width]), weight.astype(int), axis=1)
    assert npmle(left, left + width, weight).mass.tolist() == npmle(*repeated).mass.tolist()


@given(st.lists(st.tuples(st.integers(1, 15), st.booleans()), min_size=1, max_size=30))
@settings(max_examples=100, deadline=None)
def test_exact_and_right_censored_days_give_kaplan_meier(sample):
    """Kaplan & Meier 1958, the product written out; a unit censored on a day is at risk on that day."""
    day, event = np.array(sample).T
    curve = npmle(day, np.where(event, day, INF))
    survival = 1.0
    for step in np.unique(day[event == 1]):
        survival *= 1 - np.sum((day == step) & (event == 1)) / np.sum(day >= step)
        share = curve.at(float(step))
        assert (share.lower, share.upper) == pytest.approx((1 - survival, 1 - survival), abs=1e-7)


@given(st.lists(st.tuples(st.integers(1, 10), st.booleans()), min_size=1, max_size=40))
@settings(max_examples=100, deadline=None)
def test_one_review_per_side_gives_isotonic_regression(sample):
    """Groeneboom & Wellner 1992: with current-status data F is the weighted isotonic regression of the shares seen
    regrown on the days of review; scipy.optimize.isotonic_regression."""
    day, regrown = np.array(sample).T
    curve = npmle(np.where(regrown, 0, day), np.where(regrown, day, INF))
    days, place = np.unique(day, return_inverse=True)
    reviewed = np.bincount(place)
    expected = isotonic_regression(np.bincount(place, regrown) / reviewed, weights=reviewed).x
    lower, upper = curve.bounds(days)
    assert lower == pytest.approx(expected, abs=1e-6)
    assert upper == pytest.approx(expected, abs=1e-6)


def test_bounds_inside_an_interval_without_reviews_and_the_middle():
    curve = npmle([0, 0, 90, 90], [30, 30, 180, INF])
    assert [curve.at(day).lower for day in (0, 30, 90, 100)] == pytest.approx([0, 0.5, 0.5, 0.5], abs=1e-8)
    inside = npmle([0, 0, 400], [100, 100, INF]).at(50)
    assert (inside.lower, inside.middle, inside.upper) == pytest.approx((0, 1 / 3, 2 / 3), abs=1e-8)
    assert inside.is_range
    assert not npmle([0, 0, 400], [100, 100, INF]).at(200).is_range


def test_nothing_is_said_after_the_last_day_anyone_was_seen_clear():
    curve = npmle([0, 90, 180], [90, 180, INF])
    assert curve.last_day == 180
    assert curve.at(180).shown
    late = curve.at(181)
    assert (late.lower, late.upper, late.middle) == (None, None, None)
    assert late.withheld == "not estimable: no side was seen without regrowth later than day 180"


def test_when_all_have_regrown_the_share_is_exactly_1_from_then_on():
    curve = npmle([0, 30, 60], [30, 60, 90])
    assert curve.last_day == INF
    assert (curve.at(90).lower, curve.at(5_000).upper) == (1.0, 1.0)


@pytest.mark.parametrize(("left", "right"), [([], []), ([0], [INF]), ([0, 0], [INF, INF])])
def test_without_a_telling_review_there_is_no_curve(left, right):
    curve = npmle(left, right)
    assert not curve.shown
    assert curve.uninformative == len(left)
    assert curve.at(365).withheld == "not estimable: no side has a review that tells anything"
    assert curve.at(365).middle is None


@pytest.mark.parametrize(
    ("left", "right", "share"), [([0], [30], 1.0), ([30], [INF], 0.0), ([29], [30], 1.0), ([30], [30], 1.0)]
)
def test_one_side_alone(left, right, share):
    found = npmle(left, right).at(30)
    assert (found.lower, found.upper) == (share, share)


@pytest.mark.parametrize("day", [-1, np.nan, INF])
def test_refuses_what_is_no_day(day):
    with pytest.raises(ValueError, match="day must be finite and at least 0, not"):
        npmle([0], [30]).at(day)


def test_without_the_optimality_condition_there_is_no_estimate(monkeypatch):
    monkeypatch.setattr(constrained_newton, "MOST_STEPS", 3)
    entry = next(entry for entry in REFERENCE if entry["id"] == "npmle-bcos-radiotherapy")
    with pytest.raises(NotConverged, match="optimality gap must be at most 1e-08 after 3 steps, not"):
        CALLS["npmle"](entry["input"])


def test_the_gap_counts_what_could_gain_and_what_has_too_much_mass():
    """n = 10: one derivative 5 % above it, or one point with mass 10 % below it."""
    mass = np.array([0.5, 0.5, 0.0])
    assert constrained_newton._gap(np.array([10.0, 10.0, 10.5]), mass, 10.0) == pytest.approx(0.05)
    assert constrained_newton._gap(np.array([10.4, 9.0, 3.0]), mass, 10.0) == pytest.approx(0.1)


def test_an_approximation_that_cannot_be_solved_gives_no_estimate(monkeypatch):
    def give_up(*arguments, **options):
        raise RuntimeError("Maximum number of iterations reached.")

    monkeypatch.setattr("scipy.optimize.nnls", give_up)
    with pytest.raises(NotConverged, match=r"quadratic approximation in 2 masses was not solved: Maximum"):
        constrained_newton._least(np.eye(2), np.ones(2))


def test_non_negative_least_squares_where_the_quick_way_leaves_no_point():
    products, linear = np.array([[1.0, 0.9], [0.9, 1.0]]), np.array([-1.0, -2.0])
    assert constrained_newton._without_negatives(products, linear).tolist() == [0, 0]


def test_a_large_sample_reaches_the_condition_and_the_truth():
    """20,000 sides of an invented clinic whose true shares are known."""
    curve = npmle(*clinic(20_000, seed=20261125).intervals())
    assert curve.gap <= 1e-8
    for day in (180, 365, 730):
        assert curve.at(day).middle == pytest.approx(true_share(day), abs=0.007)


def test_every_reference_says_where_it_comes_from():
    assert all(entry["citation"] and entry["how_verified"] for entry in REFERENCE)
    assert {entry["call"] for entry in REFERENCE} == set(CALLS)
