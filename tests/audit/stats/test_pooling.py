"""Pooling against metafor and lme4, integrals taken here, closed forms, and a seeded simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import chi2
from scipy.stats import t as student

from audit.referees.pooling import CALLS
from audit.stats.binomial_normal import binomial_normal
from audit.stats.constrained_newton import NotConverged
from audit.stats.pooling import Practice, logits, pool
from audit.stats.random_effects import Between, Quantile, prediction_interval, random_effects
from tests.audit.stats.entries import agree, entries

DEFINITION = {"outcome": "symptomatic recurrence", "window": "day 335 to 425", "unit": "treated side"}
ALIKE = ([3, 4, 5, 4], [60, 75, 98, 82])
UNLIKE = ([2, 14, 5, 0, 9, 3], [60, 75, 98, 40, 82, 120])


def practices(events, totals, **changes):
    return [
        Practice(f"P{place:02d}", x, n, n, DEFINITION, **changes)
        for place, (x, n) in enumerate(zip(events, totals, strict=True))
    ]


def expit(value):
    return 1 / (1 + np.exp(-value))


@pytest.mark.parametrize("entry", entries("pooling"))
def test_the_reference_entries(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def integrated(events, totals, mean, deviation):
    """The same log-likelihood, each unit integrated by adaptive quadrature over the whole line."""
    total = 0.0
    for x, n in zip(events, totals, strict=True):

        def height(u, x=x, n=n):
            logit = mean + deviation * u
            return np.exp(x * logit - n * np.logaddexp(0, logit) - u * u / 2 + 50) / np.sqrt(2 * np.pi)

        total += np.log(quad(height, -9, 9, points=[-3, -1, 0, 1, 3], epsabs=0, epsrel=1e-11, limit=400)[0]) - 50
    return total


def test_the_maximum_is_one_of_the_likelihood_itself():
    """Referee: numerical integration; no step to any side goes up, and the height is the same."""
    found = binomial_normal(*UNLIKE)
    top = integrated(*UNLIKE, found.mean, found.deviation)
    assert found.likelihood == pytest.approx(top, abs=1e-8)
    for step in ((0.01, 0), (-0.01, 0), (0, 0.01), (0, -0.01)):
        assert integrated(*UNLIKE, found.mean + step[0], found.deviation + step[1]) < top


def test_the_error_comes_from_the_whole_hessian():
    found, step = binomial_normal(*UNLIKE), 1e-3

    def curve(first, second):
        def at(a, b):
            return integrated(*UNLIKE, found.mean + a * step, found.deviation + b * step)

        if first == second:
            way = (1, 0) if first == 0 else (0, 1)
            return (at(*way) - 2 * at(0, 0) + at(-way[0], -way[1])) / step**2
        return (at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / (4 * step**2)

    hessian = np.array([[curve(i, j) for j in (0, 1)] for i in (0, 1)])
    assert found.error == pytest.approx(np.sqrt(np.linalg.inv(-hessian)[0, 0]), rel=1e-3)


def test_alike_practices_are_one_practice():
    found = binomial_normal(*ALIKE)
    rate = 16 / 315
    assert found.deviation == 0
    assert found.mean == pytest.approx(np.log(rate / (1 - rate)))
    assert found.error == pytest.approx(1 / np.sqrt(315 * rate * (1 - rate)))


counts = st.lists(st.integers(20, 150).flatmap(lambda n: st.tuples(st.integers(0, n // 4), st.just(n))), min_size=3,
                  max_size=8).filter(lambda rows: sum(x for x, _ in rows) > 0)  # fmt: skip


@given(counts)
@settings(max_examples=40, deadline=None)
def test_order_is_irrelevant_and_events_mirror_non_events(rows):
    events, totals = (list(column) for column in zip(*rows, strict=True))
    try:
        found = binomial_normal(events, totals)
    except NotConverged:
        return
    turned = binomial_normal(events[::-1], totals[::-1])
    mirrored = binomial_normal([n - x for x, n in rows], totals)
    assert (turned.mean, turned.deviation) == pytest.approx((found.mean, found.deviation), abs=1e-6)
    assert (mirrored.mean, mirrored.deviation) == pytest.approx((-found.mean, found.deviation), abs=1e-6)


def test_moments_agree_with_statsmodels():
    """Referee: statsmodels' combine_effects with method_re="dl"."""
    from statsmodels.stats.meta_analysis import combine_effects

    values, variances = logits(*UNLIKE)
    theirs = combine_effects(np.array(values), np.array(variances), method_re="dl")
    found = random_effects(values, variances, Between.DERSIMONIAN_LAIRD, knapp_hartung=False)
    assert found.variance == pytest.approx(theirs.tau2, abs=1e-10)
    assert found.estimate == pytest.approx(theirs.mean_effect_re, abs=1e-10)
    assert found.error == pytest.approx(theirs.sd_eff_w_re, abs=1e-10)
    assert found.q == pytest.approx(theirs.q, abs=1e-10)


def test_reml_is_where_the_restricted_likelihood_is_highest():
    values, variances = (np.array(column) for column in logits(*UNLIKE))

    def restricted(tau2):
        weight = 1 / (variances + tau2)
        mean = (weight * values).sum() / weight.sum()
        return -0.5 * (-np.log(weight).sum() + np.log(weight.sum()) + (weight * (values - mean) ** 2).sum())

    found = random_effects(values.tolist(), variances.tolist()).variance
    assert found > 0
    grid = np.linspace(0, 4, 4001)
    assert found == pytest.approx(grid[np.argmax([restricted(tau2) for tau2 in grid])], abs=0.001)


@pytest.mark.filterwarnings("ignore:invalid value encountered in sqrt")  # of statsmodels' negative variance between
def test_the_error_never_shrinks_where_units_are_alike():
    """Q far below k - 1: statsmodels' Hartung-Knapp error is a small part of the plain one, Rover et al. 2015."""
    from statsmodels.stats.meta_analysis import combine_effects

    values, variances = logits(*ALIKE)
    theirs = combine_effects(np.array(values), np.array(variances), method_re="dl", use_t=True)
    plain = random_effects(values, variances, knapp_hartung=False)
    found = random_effects(values, variances)
    assert found.factor < 0.1
    assert found.error == plain.error
    assert found.high - found.low > plain.high - plain.low
    assert theirs.sd_eff_w_re_hksj < 0.1 * plain.error, "statsmodels keeps its error from shrinking now: drop this line"


def test_a_prediction_interval_says_which_quantile_it_takes():
    half = {
        quantile: prediction_interval(0.0, 0.3, 0.16, 6, quantile)[1]
        for quantile in (Quantile.NORMAL, Quantile.STUDENT_K_1, Quantile.STUDENT_K_2)
    }
    assert half[Quantile.NORMAL] == pytest.approx(0.5 * 1.959964, abs=1e-6)
    assert half[Quantile.STUDENT_K_1] == pytest.approx(0.5 * 2.570582, abs=1e-6)
    assert half[Quantile.STUDENT_K_2] == pytest.approx(0.5 * 2.776445, abs=1e-6)


def test_half_a_unit_is_added_only_where_a_count_is_0():
    values, variances = logits([0, 3, 10], [20, 20, 10])
    assert values == pytest.approx((np.log(0.5 / 20.5), np.log(3 / 17), np.log(10.5 / 0.5)))
    assert variances == pytest.approx((1 / 0.5 + 1 / 20.5, 1 / 3 + 1 / 17, 1 / 10.5 + 1 / 0.5))


def test_six_practices_get_a_rate_limits_and_a_prediction():
    found, model = pool(practices(*UNLIKE)), binomial_normal(*UNLIKE)
    assert (found.practices, found.events, found.total, found.patients) == (6, 33, 475, 475)
    assert found.model == model
    reach = student.ppf(0.975, 5) * model.error
    assert (found.rate, found.low, found.high) == pytest.approx(
        (expit(model.mean), expit(model.mean - reach), expit(model.mean + reach))
    )
    width = student.ppf(0.975, 4) * np.hypot(model.deviation, model.error)
    assert found.predicted == pytest.approx((expit(model.mean - width), expit(model.mean + width)))
    assert (found.quantile, found.predicted_quantile) == (Quantile.STUDENT_K_1, Quantile.STUDENT_K_2)
    assert found.check == random_effects(*logits(*UNLIKE))
    assert found.q_p_value == pytest.approx(chi2.sf(found.check.q, 5))
    assert found.i_squared == pytest.approx((found.check.q - 5) / found.check.q)
    assert found.warning == ""


@pytest.mark.parametrize("number", [3, 4])
def test_three_and_four_practices_get_a_warning_and_no_prediction(number):
    found = pool(practices(*(column[:number] for column in UNLIKE)))
    assert found.shown
    assert found.warning == f"{number} practices only: how much they differ cannot be told"
    assert (found.predicted, found.q_p_value) == (None, None)
    assert found.low < found.rate < found.high


@pytest.mark.parametrize("number", [1, 2])
def test_fewer_than_three_practices_are_not_pooled(number):
    found = pool(practices(*(column[:number] for column in UNLIKE)))
    assert found.withheld == f"3 practices are needed for a pooled rate, not {number}"
    assert (found.rate, found.low, found.high, found.model, found.check) == (None,) * 5


def test_definitions_that_differ_are_not_pooled_and_named():
    odd = Practice("P09", 4, 50, 50, {**DEFINITION, "window": "day 305 to 425"})
    found = pool([*practices([1, 2], [40, 40]), odd])
    assert found.withheld == (
        "definitions differ, not pooled: window (P00: day 335 to 425, P01: day 335 to 425, P09: day 305 to 425)"
    )
    missing = Practice("P09", 4, 50, 50, {key: value for key, value in DEFINITION.items() if key != "unit"})
    assert "unit (" in pool([*practices(*UNLIKE), missing]).withheld
    assert "P09: not said" in pool([*practices(*UNLIKE), missing]).withheld


@pytest.mark.parametrize(("events", "words"), [(0, "no event"), (30, "only events")])
def test_no_event_anywhere_is_not_estimable(events, words):
    assert pool(practices([events] * 4, [30] * 4)).withheld == f"not estimable: {words} in 4 practices"


def test_units_that_differ_too_much_are_not_estimable():
    found = pool(practices([24, 0, 0], [40, 59, 93]))
    assert found.withheld.startswith("not estimable: the units differ so much")


def test_effective_sizes_and_patients_are_what_counts():
    """Effective sizes with the rates kept; a practice without an event counts with its patients."""
    given = [
        Practice("A", 6, 90, 60, DEFINITION, 72.5),
        Practice("B", 0, 50, 30, DEFINITION, 45.0),
        Practice("C", 8, 70, 50, DEFINITION, 61.0),
        Practice("D", 2, 64, 40, DEFINITION),
    ]
    expected = binomial_normal([6 / 90 * 72.5, 0, 8 / 70 * 61, 2], [72.5, 30, 61, 64])
    assert pool(given).model == expected


def test_the_limits_cover_where_the_normal_quantile_does_not():
    """Five practices of about 80 sides whose log odds scatter with SD 0.8 around 6 %; 250 seeded pools."""
    random = np.random.default_rng(7)
    centre, normal_hits, hits, pooled = np.log(0.06 / 0.94), 0, 0, 0
    for _ in range(250):
        totals = random.integers(40, 160, 5)
        found = pool(practices(random.binomial(totals, expit(centre + 0.8 * random.normal(size=5))).tolist(),
                               totals.tolist()))  # fmt: skip
        if found.shown:
            pooled += 1
            hits += found.low <= 0.06 <= found.high
            normal_hits += abs(found.model.mean - centre) <= 1.96 * found.model.error
    assert pooled > 245
    assert 0.92 <= hits / pooled <= 0.99
    assert normal_hits / pooled < 0.91


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: pool([]), "practices must hold at least 1 practice, not 0"),
        (lambda: pool(practices([5], [4])), "events must be from 0 to 4, not 5"),
        (lambda: pool([*practices([1], [9])] * 2), "practices must have codes that differ, not P00 twice"),
        (lambda: pool([Practice("A", 1, 9, 10, DEFINITION)]), "patients must be from 1 to 9, not 10"),
        (
            lambda: pool(practices([1], [9], effective_total=9.5)),
            "effective_total must be above 0 and up to 9, not 9.5",
        ),
        (lambda: pool(practices(*ALIKE), level=1.0), "level must be between 0 and 1, not 1.0"),
        (lambda: random_effects([1.0], [1.0]), "estimates must hold at least 2 units, not 1"),
        (lambda: random_effects([1.0, 2.0], [1.0]), "variances must hold one for each of 2 estimates, not 1"),
        (lambda: random_effects([1.0, float("nan")], [1.0, 1.0]), "estimates must be finite, not NaN or infinity"),
        (lambda: random_effects([1.0, 2.0], [1.0, 0.0]), "variances must be finite and above 0, not 0.0"),
        (
            lambda: prediction_interval(0.0, 0.1, 0.1, 2, Quantile.STUDENT_K_2),
            "units must be at least 3 for this quantile, not 2",
        ),
        (
            lambda: prediction_interval(0.0, -0.1, 0.1, 5, Quantile.NORMAL),
            "error must be finite and 0 or more, not -0.1",
        ),
        (lambda: binomial_normal([1], [9]), "events must hold at least 2 units, not 1"),
        (lambda: binomial_normal([1, 2], [9]), "totals must hold one for each of 2 units, not 1"),
        (lambda: binomial_normal([0, 0], [9, 9]), "events must be above 0 and below 18 in all, not 0"),
        (lambda: binomial_normal([1, 10], [9, 9]), "events must be from 0 to 9, not 10"),
    ],
)
def test_refuses_what_is_no_pool(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
