"""Referees: values kept in fixtures/reference, limits recomputed from published counts, and a solver written here."""

import json
from math import comb, sqrt
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.stats.clustered import design_effect
from audit.stats.proportion import Method, clopper_pearson, score_limits, wilson, zero_event_upper

REFERENCE = json.loads((Path(__file__).parents[3] / "fixtures/reference/proportions.json").read_text("utf-8"))
Z = 1.959963984540054

# Counts of published studies, limits recomputed from them, in per cent to 2 decimals.
# Events, total, Wilson, Clopper-Pearson.
# Each line names the study the counts come from.
SINGLE = [
    (0, 34, (0, 10.15), (0, 10.28)),  # Y1 Leung & Lai 2005, phenol, 6 months
    (6, 802, (0.34, 1.62), (0.28, 1.62)),  # Y2 Silva 2024, phenol 45 s, 3 months
    (15, 802, (1.14, 3.06), (1.05, 3.07)),  # Y3 Silva 2024, 6 months
    (2, 350, (0.16, 2.06), (0.07, 2.05)),  # Y4 Bostanci 2001, phenol, mean 25 months
    (4, 350, (0.45, 2.90), (0.31, 2.90)),  # Y5 the same with 2 spikes
    (1, 348, (0.05, 1.61), (0.01, 1.59)),  # Y6 Karaca & Dereli 2012, excision and phenol, 24 months
    (1, 56, (0.32, 9.45), (0.05, 9.55)),  # Y7 Terzi 2015, TCA 90 %, 12 months
    (21, 111, (12.72, 27.20), (12.11, 27.45)),  # Y8 Rusmir & Salerno 2011, infection
]
ARMS = [
    (8, 58, (7.16, 24.93)), (23, 59, (27.58, 51.73)),  # X1 Bos 2007
    (7, 34, (10.35, 36.80)), (7, 29, (12.22, 42.11)),  # X2a Gerritsma-Bleeker 2002, any recurrence
    (4, 34, (4.67, 26.62)), (3, 29, (3.58, 26.39)),  # X2b the same, symptomatic
    (2, 42, (1.32, 15.79)), (7, 76, (4.53, 17.81)),  # X3 Isik 2012
    (1, 70, (0.25, 7.66)), (7, 70, (4.93, 19.23)),  # X4a Lahore 2023-24, recurrence
    (4, 70, (2.24, 13.79)), (12, 70, (10.09, 27.62)),  # X4b the same, wound infection
    (0, 46, (0, 7.71)), (6, 41, (6.88, 28.44)),  # X4c the same, age 12-35
    (1, 24, (0.74, 20.24)), (1, 29, (0.61, 17.18)),  # X4d the same, age 36-60
    (0, 31, (0, 11.03)), (4, 32, (4.97, 28.07)),  # X4e the same, women
    (3, 260, (0.39, 3.34)), (20, 109, (12.20, 26.65)),  # X5 Italian series 1990-99
    (4, 82, (1.91, 11.88)), (3, 72, (1.43, 11.55)),  # X6 Bostanci 2007, reconstructed
    (2, 54, (1.02, 12.54)), (1, 54, (0.33, 9.77)),  # X7 Muriel-Sánchez 2021, reconstruction, unverified
]  # fmt: skip


def of_method(method):
    entries = [entry for entry in REFERENCE if entry["method"] == method]
    return pytest.mark.parametrize("entry", entries, ids=lambda entry: entry["id"])


@of_method("wilson")
def test_wilson_agrees_with_published_values(entry):
    found = wilson(entry["input"]["x"], entry["input"]["n"])
    assert (found.low, found.high) == pytest.approx(entry["expected"], abs=entry["tolerance"])


@of_method("clopper_pearson")
def test_clopper_pearson_agrees_with_published_values(entry):
    found = clopper_pearson(entry["input"]["x"], entry["input"]["n"])
    assert (found.low, found.high) == pytest.approx(entry["expected"], abs=entry["tolerance"])


@of_method("zero_event_upper")
def test_the_limit_without_an_event_agrees_with_the_published_value(entry):
    assert zero_event_upper(entry["input"]["n"]) == pytest.approx(entry["expected"], abs=entry["tolerance"])


@of_method("design_effect")
def test_design_effects_agree_with_the_published_litters(entry):
    data = entry["input"]
    for arm, expected in zip(("CTRL", "TREAT"), entry["expected"]["deff"], strict=True):
        rows = [place for place, name in enumerate(data["group"]) if name == arm]
        found = design_effect([data["y"][row] for row in rows], [data["m"][row] for row in rows])
        assert found == pytest.approx(expected, abs=entry["tolerance"])


def test_every_reference_says_where_it_comes_from():
    assert all(entry["citation"] and entry["how_verified"] for entry in REFERENCE)
    assert {entry["method"] for entry in REFERENCE} == {
        "wilson", "clopper_pearson", "zero_event_upper", "design_effect",
    }  # fmt: skip


@pytest.mark.parametrize(("events", "total", "score", "exact"), SINGLE)
def test_single_proportions_of_published_studies(events, total, score, exact):
    found, strict = wilson(events, total), clopper_pearson(events, total)
    assert (found.low * 100, found.high * 100) == pytest.approx(score, abs=0.0051)
    assert (strict.low * 100, strict.high * 100) == pytest.approx(exact, abs=0.0051)


@pytest.mark.parametrize(("events", "total", "score"), ARMS)
def test_trial_arms_of_published_studies(events, total, score):
    found = wilson(events, total)
    assert (found.low * 100, found.high * 100) == pytest.approx(score, abs=0.0051)


def bisect(rises, low=0.0, high=1.0):
    """Where `rises` turns from negative to positive."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rises(middle) < 0 else (low, middle)
    return (low + high) / 2


def at_least(events, total, rate):
    return sum(comb(total, k) * rate**k * (1 - rate) ** (total - k) for k in range(events, total + 1))


SMALL = [(events, total) for total in range(1, 41) for events in range(total + 1)]


def test_wilson_inverts_the_score_test_for_every_small_group():
    """The limits are the rates p with |x/n - p| = z sqrt(p (1 - p) / n); found here without the closed formula."""
    for events, total in SMALL:
        rate, found = events / total, wilson(events, total)

        def distance(p, rate=rate, total=total):
            return abs(rate - p) - Z * sqrt(p * (1 - p) / total)

        low = 0.0 if events == 0 else bisect(lambda p, d=distance: -d(p), 0.0, rate)
        high = 1.0 if events == total else bisect(distance, rate, 1.0)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9), (events, total)


def test_clopper_pearson_inverts_the_binomial_for_every_small_group():
    for events, total in SMALL:
        found = clopper_pearson(events, total)
        low = 0.0 if events == 0 else bisect(lambda p, x=events, n=total: at_least(x, n, p) - 0.025)
        high = 1.0 if events == total else bisect(lambda p, x=events, n=total: at_least(x + 1, n, p) - 0.975)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9), (events, total)


counts = st.integers(1, 500).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))


@given(counts)
@settings(max_examples=100, deadline=None)
def test_limits_stay_within_0_and_1_and_hold_the_rate(pair):
    for found in (wilson(*pair), clopper_pearson(*pair)):
        assert 0 <= found.low <= found.rate <= found.high <= 1


@given(counts)
@settings(max_examples=100, deadline=None)
def test_events_and_non_events_mirror_each_other(pair):
    events, total = pair
    found, mirrored = wilson(events, total), wilson(total - events, total)
    assert (found.low, found.high) == pytest.approx((1 - mirrored.high, 1 - mirrored.low), abs=1e-12)


@given(st.integers(2, 300).flatmap(lambda total: st.tuples(st.integers(0, total - 1), st.just(total))))
@settings(max_examples=100, deadline=None)
def test_one_more_event_moves_both_limits_up(pair):
    events, total = pair
    fewer, more = wilson(events, total), wilson(events + 1, total)
    assert fewer.low < more.low
    assert fewer.high < more.high


@given(counts, st.integers(2, 5))
@settings(max_examples=100, deadline=None)
def test_more_of_the_same_is_narrower(pair, times):
    events, total = pair
    once, often = wilson(events, total), wilson(events * times, total * times)
    assert often.high - often.low < once.high - once.low


def test_the_limits_are_exact_at_both_ends():
    assert wilson(0, 20).low == 0.0
    assert wilson(20, 20).high == 1.0
    assert wilson(0, 14).one_sided == pytest.approx(0.1926, abs=5e-5)
    assert wilson(14, 14).one_sided == pytest.approx(1 - 0.1926, abs=5e-5)
    assert wilson(1, 14).one_sided is None


def test_a_result_says_how_it_was_made():
    found = wilson(3, 29)
    assert found.method is Method.WILSON
    assert found.shown
    assert clopper_pearson(3, 29).method is Method.CLOPPER_PEARSON


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: wilson(0, 0), "total must be at least 1, not 0"),
        (lambda: wilson(5, 4), "events must be from 0 to 4, not 5"),
        (lambda: wilson(-1, 4), "events must be from 0 to 4, not -1"),
        (lambda: wilson(1.5, 4), "events must be a whole number, not 1.5"),
        (lambda: wilson(1, 4, 1.0), "level must be between 0 and 1, not 1.0"),
        (lambda: clopper_pearson(0, 0), "total must be at least 1, not 0"),
        (lambda: zero_event_upper(0), "total must be at least 1, not 0"),
        (lambda: score_limits(3.0, 2.5), "events must be from 0 to 2.5, not 3.0"),
        (lambda: score_limits(0.0, 0.0), "total must be finite and above 0, not 0.0"),
    ],
)
def test_refuses_what_is_no_count(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
