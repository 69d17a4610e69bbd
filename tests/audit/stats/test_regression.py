"""Which regression is chosen, case by case; its numbers against statsmodels; the trend over exposure."""

import re

import numpy as np
import pytest
from scipy.stats import t as student
from statsmodels.api import GEE, cov_struct, families
from statsmodels.stats.multitest import multipletests

from audit.stats.dose_response import NO_CAUSE, dose_response
from audit.stats.firth import logistic_firth
from audit.stats.gee import Working, logistic_gee
from audit.stats.model_terms import Covariate, Factor
from audit.stats.regression import Rule, holm, logistic_regression

BANDS = (30.0, 60.0, 120.0, 180.0)


def clinic(seed=1, patients=120, base=-1.0, rare=0.1):
    """Invented patients with two sides each: technique by patient, practitioner by patient, exposure by side."""
    random = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), 2)
    technique = random.choice(["phenol", "sodium hydroxide", "excision"], patients, p=[0.6, 0.4 - rare, rare])[patient]
    practitioner = random.choice(["A", "B"], patients)[patient]
    seconds = random.choice([30.0, 60.0, 90.0, 120.0, 180.0], len(patient))
    logit = base - 0.4 * np.log2(seconds / 60) + random.normal(size=patients)[patient]
    outcome = (random.random(len(patient)) < 1 / (1 + np.exp(-logit))).astype(int)
    return outcome, patient, technique.tolist(), practitioner.tolist(), seconds.tolist()


def theirs(outcome, patient, *columns):
    design = np.column_stack([np.ones(len(outcome)), *columns])
    model = GEE(outcome, design, groups=patient, family=families.Binomial(), cov_struct=cov_struct.Exchangeable())
    return model.fit(cov_type="bias_reduced", ctol=1e-12, maxiter=300)


def limits(effect):
    return effect.odds_ratio, effect.low, effect.high


def test_many_patients_and_events_get_gee_with_student_limits():
    """Referee: statsmodels' GEE, its limits with t of 120 - 3 degrees of freedom."""
    outcome, patient, technique, practitioner, _ = clinic(rare=0.0)
    terms = [Factor("technique", technique), Factor("practitioner", practitioner, reference="A")]
    found = logistic_regression(outcome, patient, terms)
    technique, practitioner = np.array(technique), np.array(practitioner)
    fit = theirs(outcome, patient, technique == "sodium hydroxide", practitioner == "B")
    reach = student.ppf(0.975, 117) * fit.bse
    bounds = np.exp(np.column_stack([fit.params - reach, fit.params + reach]))

    assert found.rule is Rule.GEE
    assert found.reason == f"120 patients, {outcome.sum()} events for 3 coefficients, no separation"
    assert [(each.term, each.label, each.against) for each in found.effects] == [
        ("technique", "sodium hydroxide", "phenol"), ("practitioner", "B", "A"),
    ]  # fmt: skip
    for place, effect in enumerate(found.effects, start=1):
        assert limits(effect) == pytest.approx((np.exp(fit.params[place]), *bounds[place]), rel=1e-7)
    here = technique == "sodium hydroxide"
    assert (found.effects[0].units, found.effects[0].events) == (here.sum(), outcome[here].sum())
    assert found.effects[0].patients == len(set(patient[here]))


def test_the_p_value_fits_the_limits():
    outcome, patient, technique, _, _ = clinic(rare=0.0)
    p_value = logistic_regression(outcome, patient, [Factor("technique", technique)]).effects[0].p_value
    effect = logistic_regression(outcome, patient, [Factor("technique", technique)], level=1 - p_value).effects[0]
    assert min(abs(effect.low - 1), abs(effect.high - 1)) == pytest.approx(0, abs=1e-9)


def test_few_events_get_firth():
    outcome, patient, technique, _, _ = clinic(base=-3.2, rare=0.0)
    assert 5 <= outcome.sum() < 10
    found = logistic_regression(outcome, patient, [Factor("technique", technique)])
    assert found.rule is Rule.FIRTH
    assert found.reason == f"{outcome.sum()} events for 2 coefficients, GEE needs 10"
    design = np.column_stack([np.ones(240), np.array(technique) == "sodium hydroxide"])
    fit = logistic_firth(design, outcome, patient)
    assert limits(found.effects[0]) == pytest.approx(np.exp([fit.estimates[1], fit.low[1], fit.high[1]]))


def test_few_non_events_get_firth_too():
    outcome, patient, technique, _, _ = clinic(base=-3.2, rare=0.0)
    found = logistic_regression(1 - outcome, patient, [Factor("technique", technique)])
    assert found.reason == f"{outcome.sum()} non-events for 2 coefficients, GEE needs 10"


def test_few_patients_get_firth():
    outcome, patient, technique, _, _ = clinic(seed=8, patients=28, rare=0.0)
    found = logistic_regression(outcome, patient, [Factor("technique", technique)])
    assert found.rule is Rule.FIRTH
    assert found.reason == "28 patients, GEE needs 30"


def test_separation_gets_firth_and_is_named():
    outcome, patient, technique, _, _ = clinic(rare=0.15)
    outcome[np.array(technique) == "excision"] = 0
    found = logistic_regression(outcome, patient, [Factor("technique", technique)])
    assert found.rule is Rule.FIRTH
    assert found.reason == "separation, no finite ordinary estimate for: technique excision"
    excision = next(effect for effect in found.effects if effect.label == "excision")
    assert excision.events == 0
    assert 0 < excision.low < excision.odds_ratio < excision.high < 1


def test_a_widened_limit_says_so():
    outcome, patient, technique, _, _ = clinic(patients=28, rare=0.0)
    outcome = outcome[::2].repeat(2)
    found = logistic_regression(outcome, patient, [Factor("technique", technique)])
    assert found.approximate
    assert found.notes == (
        f"approximate: likelihood ratios divided by the design effect {found.fit.design_effect:.2f}",
    )


@pytest.mark.parametrize(
    ("patients", "events", "reason"),
    [
        (19, 9, "too few for a regression: 19 patients, at least 20 are needed"),
        (40, 2, "too few for a regression: 2 events, at least 3 are needed"),
        (40, 79, "too few for a regression: 1 non-event, at least 3 are needed"),
        (40, 0, "too few for a regression: 0 events, at least 3 are needed"),
    ],
)
def test_thin_data_get_no_regression(patients, events, reason):
    outcome = np.arange(2 * patients) < events
    found = logistic_regression(outcome, np.arange(2 * patients) // 2, [Covariate("age", np.arange(2 * patients) % 7)])
    assert found.rule is Rule.NONE
    assert not found.shown
    assert found.withheld == found.reason == reason
    assert [effect.withheld for effect in found.effects] == [reason]
    assert found.effects[0].odds_ratio is None


def test_independence_is_noted():
    outcome, patient, technique, _, _ = clinic(rare=0.0)
    found = logistic_regression(outcome[::2], patient[::2], [Factor("technique", technique[::2])])
    assert found.fit.working is Working.INDEPENDENCE
    assert found.notes[0].startswith("independence as working correlation: 0 pairs")


def test_gee_that_is_not_estimable_gives_way_to_firth():
    """One patient alone has the covariate: no separation, yet no covariance between patients."""
    patient = np.repeat(np.arange(40), 2)
    outcome = np.tile([1, 0], 40)
    found = logistic_regression(outcome, patient, [Covariate("own", (patient == 39).astype(float))])
    assert found.rule is Rule.FIRTH
    assert found.reason == "GEE not estimable: a coefficient rests on one patient alone"


def test_a_level_of_few_patients_is_kept_in_the_model_and_withheld():
    outcome, patient, technique, _, _ = clinic(rare=0.05)
    labels = np.array(technique)
    assert 1 < len(set(patient[labels == "excision"])) < 10
    found = logistic_regression(outcome, patient, [Factor("technique", technique)])
    excision, hydroxide = found.effects
    assert excision.label == "excision"
    assert excision.withheld.startswith("too few to compare: ")
    assert excision.p_value is None
    fit = found.fit
    assert len(fit.estimates) == 3
    assert hydroxide.odds_ratio == pytest.approx(np.exp(fit.estimates[2]))


def test_small_levels_become_other_only_where_declared():
    labels = ["phenol"] * 40 + ["a"] * 6 + ["b"] * 6 + ["excision"] * 28
    outcome, patient = np.tile([0, 1, 0, 0, 1], 16), np.arange(80) // 2
    merged = logistic_regression(outcome, patient, [Factor("technique", labels, merge_small=True)])
    kept = logistic_regression(outcome, patient, [Factor("technique", labels)])
    assert [effect.label for effect in merged.effects] == ["excision", "other"]
    assert merged.notes[0] == "technique: a, b counted as other, fewer than 5 patients each"
    assert [effect.label for effect in kept.effects] == ["a", "b", "excision"]


def test_a_determined_column_is_named_and_left_out():
    outcome, patient, technique, _, _ = clinic(rare=0.0)
    double = Factor("agent", ["liquid" if name == "phenol" else "salt" for name in technique])
    found = logistic_regression(outcome, patient, [Factor("technique", technique), double])
    alone = logistic_regression(outcome, patient, [Factor("technique", technique)])
    assert found.effects[1].withheld == "not estimable: determined by the other columns"
    assert limits(found.effects[0]) == limits(alone.effects[0])


def test_one_technique_only_leaves_nothing_to_compare():
    outcome, patient, _, _, _ = clinic()
    found = logistic_regression(outcome, patient, [Factor("technique", ["phenol"] * 240)])
    assert found.rule is Rule.NONE
    assert found.withheld == "nothing to compare"
    assert found.notes == ("technique: only phenol, nothing to compare",)
    assert found.effects == ()


def test_a_covariate_of_tiny_steps_is_no_infinite_odds_ratio():
    outcome, patient, _, _, seconds = clinic()
    scores = np.log2(np.array(seconds) / 60)
    found = logistic_regression(outcome, patient, [Covariate("exposure", (scores / 5000).tolist())])
    assert found.effects[0].withheld == "not estimable: the odds ratio of one step is beyond all numbers"


def test_techniques_are_one_family():
    """Referee: statsmodels' multipletests."""
    outcome, patient, technique, practitioner, _ = clinic(seed=5, patients=200, rare=0.2)
    terms = [Factor("technique", technique), Factor("practitioner", practitioner), Covariate("age", patient % 50)]
    found = logistic_regression(outcome, patient, terms)
    first, second, practitioner, age = found.effects
    expected = multipletests([first.p_value, second.p_value], method="holm")[1]
    assert (first.holm_p, second.holm_p) == pytest.approx(tuple(expected))
    assert practitioner.holm_p == pytest.approx(practitioner.p_value)
    assert age.holm_p is None


def test_holm():
    """Referee: statsmodels' multipletests, ties among them."""
    random = np.random.default_rng(11)
    for number in (1, 2, 3, 5, 8, 8, 8):
        p_values = (random.random(number) ** 3).round(2).tolist()
        assert holm(p_values) == pytest.approx(tuple(multipletests(p_values, method="holm")[1]), abs=1e-12)


def test_the_order_of_rows_changes_no_digit():
    outcome, patient, technique, _, _ = clinic()
    order = np.random.default_rng(3).permutation(240)
    shuffled = Factor("technique", [technique[place] for place in order])
    found = logistic_regression(outcome, patient, [Factor("technique", technique)])
    assert logistic_regression(outcome[order], patient[order], [shuffled]).effects == found.effects


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda y, k: logistic_regression(y, k, []), "terms must hold at least 1 term, not 0"),
        (lambda y, k: logistic_regression(y, k, [Covariate("age", [1.0])]), "age must hold one value for each of 6 .*"),
        (
            lambda y, k: logistic_regression(y, k, [Covariate("age", [1.0, 2.0, np.nan, 1.0, 2.0, 3.0])]),
            "age must hold finite numbers, not NaN or infinity",
        ),
        (
            lambda y, k: logistic_regression(y, k, [Factor("side", ["t", "f"] * 3, reference="x")]),
            "side must have units at its reference level x, not 0",
        ),
        (
            lambda y, k: logistic_regression(y, k, [Factor("side", ["t"] * 5)]),
            "side must hold one label for each of 6 .*",
        ),
        (
            lambda y, k: logistic_regression(y, k, [Covariate("a", range(6)), Covariate("a", range(6))]),
            "terms must have names that differ, not a, a",
        ),
        (lambda y, k: logistic_regression(y * 2, k, [Covariate("a", range(6))]), "outcome must be 0 or 1, not 2"),
        (lambda y, k: logistic_regression(y, k, [Covariate("a", range(6))], 0), "level must be between 0 and 1, not 0"),
        (lambda y, k: holm([0.2, 1.2]), "p_values must be from 0 to 1, not 1.2"),
    ],
)
def test_refuses_what_is_no_model(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call(np.array([0, 1, 0, 1, 1, 0]), np.array([1, 1, 2, 2, 3, 3]))


def test_the_trend_is_an_odds_ratio_per_doubling():
    """Referee: statsmodels' GEE on log2(seconds / 60), with and without its square."""
    outcome, patient, _, _, seconds = clinic(seed=2, patients=200)
    found = dose_response(seconds, outcome, patient, BANDS)
    score = np.log2(np.array(seconds) / 60)
    fit, bent = theirs(outcome, patient, score), theirs(outcome, patient, score, score**2)
    assert found.doubling.odds_ratio == pytest.approx(np.exp(fit.params[1]), rel=1e-8)
    assert found.doubling.label == "per doubling"
    squared_p = 2 * student.sf(abs(bent.params[2] / bent.bse[2]), 197)
    assert found.squared_p == pytest.approx(squared_p, rel=1e-6)
    assert (found.bands, found.recorded, found.missing) == (4, 400, 0)
    assert found.notes[:2] == (NO_CAUSE, "not adjusted for the practitioner")


def test_the_highest_odds_in_the_middle_are_no_straight_line():
    seconds = [30.0, 60.0, 120.0, 240.0] * 60
    outcome = np.tile([0, 1, 1, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 1, 1, 0, 1, 0, 0, 1], 12)
    found = dose_response(seconds, outcome, np.arange(240) // 2, BANDS)
    assert found.curved
    assert found.line == "no straight line"
    assert found.squared_p < 0.05


def test_missing_exposures_are_counted_and_left_out():
    outcome, patient, _, practitioner, seconds = clinic(seed=2, patients=200)
    known = [place for place in range(400) if place % 10]
    gaps = [time if place % 10 else None for place, time in enumerate(seconds)]
    found = dose_response(gaps, outcome, patient, BANDS, [Factor("practitioner", practitioner)])
    without = dose_response(
        [seconds[place] for place in known], outcome[known], patient[known], BANDS,
        [Factor("practitioner", [practitioner[place] for place in known])],
    )  # fmt: skip
    assert found.missing == 40
    assert found.notes == (NO_CAUSE, "exposure not recorded: 40, left out")
    assert found.doubling == without.doubling


def test_adjusting_for_the_practitioner_is_a_term_of_the_model():
    outcome, patient, _, practitioner, seconds = clinic(seed=2, patients=200)
    found = dose_response(seconds, outcome, patient, BANDS, [Factor("practitioner", practitioner, reference="A")])
    design = np.column_stack([np.ones(400), np.log2(np.array(seconds) / 60), np.array(practitioner) == "B"])
    assert found.doubling.odds_ratio == pytest.approx(np.exp(logistic_gee(design, outcome, patient).estimates[1]))


@pytest.mark.parametrize(
    ("seconds", "events", "words"),
    [
        ([60.0, 61.0] * 40, 20, "too few bands of exposure: 2, at least 3 are needed; an exact test of trend, .*"),
        ([30.0, 60.0, 90.0, 150.0] * 20, 9, "too few events: 9, at least 10 are needed; an exact test of trend, .*"),
        ([None] * 80, 20, "too few bands of exposure: 0, at least 3 are needed; an exact test of trend, .*"),
    ],
)
def test_a_thin_trend_is_left_to_the_exact_test(seconds, events, words):
    found = dose_response(seconds, np.arange(80) < events, np.arange(80), BANDS)
    assert not found.shown
    assert found.doubling is None
    assert re.fullmatch(words, found.withheld)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: dose_response([0.0, 60.0], [0, 1], [1, 2], BANDS),
            r"seconds\[0\] must be finite and above 0, not 0.0",
        ),
        (lambda: dose_response([60.0], [0, 1], [1, 2], BANDS), "seconds must hold one time for each of 2 units, not 1"),
        (lambda: dose_response([60.0, 90.0], [0, 1], [1, 2], [60, 30]), r"bands must rise, not \[60.0, 30.0\]"),
    ],
)
def test_refuses_what_is_no_exposure(call, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        call()
