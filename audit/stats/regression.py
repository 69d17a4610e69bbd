"""Which logistic regression the data can bear, what it found, and why that one. Knows numbers and labels only."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import exp

import numpy as np
import numpy.typing as npt

from audit.stats.firth import FARTHEST, FirthFit, logistic_firth
from audit.stats.gee import GeeFit, logistic_gee
from audit.stats.intervals import Whole
from audit.stats.model_terms import Covariate, Effect, Factor, coded_terms
from audit.stats.patient_patterns import DEPENDENT, check_outcome
from audit.stats.patient_types import patient_numbers
from audit.stats.proportion import Floats, check_level
from audit.stats.separation import separated_columns

# What a regression needs before its numbers mean something (our own choice, after common rules of thumb).
GEE_PATIENTS, GEE_EVENTS_PER_COEFFICIENT = 30, 5
FIRTH_PATIENTS, FIRTH_EVENTS = 20, 3


class Rule(StrEnum):
    """The regression that was chosen."""

    GEE = "GEE logistic regression with patients as clusters"
    FIRTH = "Firth's penalised logistic regression"
    NONE = "no regression"


@dataclass(frozen=True)
class Regression:
    """What a regression found; says itself which one it was and why.

    rule, reason: the regression chosen, and why. fit: its numbers; None without a regression.
    effects: every level and covariate asked for, those that are not estimable too, in the order of the terms.
    patients, units, events: of the whole sample. level: two-sided, of all intervals.
    notes: what a reader must know besides. withheld: why there is no regression.
    """

    rule: Rule
    reason: str
    effects: tuple[Effect, ...]
    patients: int
    units: int
    events: int
    level: float
    fit: GeeFit | FirthFit | None = None
    notes: tuple[str, ...] = ()
    withheld: str = ""

    @property
    def approximate(self) -> bool:
        """Whether Firth's limits were widened by a design effect."""
        return isinstance(self.fit, FirthFit) and self.fit.approximate

    @property
    def shown(self) -> bool:
        return not self.withheld


def logistic_regression(
    outcome: npt.ArrayLike, patients: npt.ArrayLike, terms: Sequence[Factor | Covariate], level: float = 0.95
) -> Regression:
    """Odds ratios of an outcome of units that belong to patients, by the regression that the data can bear.

    outcome: 0 or 1 for each unit. patients: a label for each unit. terms: at least one.
    level: two-sided, between 0 and 1.
    GEE from 30 patients and 5 events (and 5 non-events) per coefficient on, the intercept being one, without
    separation; else, and where GEE is not estimable, Firth from 20 patients and 3 events (and 3 non-events) on; else
    none. An effect is withheld where its level or the reference has too few patients to compare, and where its column
    is determined by the others: that one is named and left out of the model.
    Refuses with ValueError, naming the term: another length, values that are not finite, an unknown reference.

    Heinze G, Schemper M. Stat Med 2002;21:2409-2419 (Firth where there is separation); the numbers are our own choice.
    Referee: each regression has its own; the choice is checked case by case in the tests.
    """
    check_level(level)
    results = check_outcome(outcome)
    people = patient_numbers(patients, len(results))
    effects, design, notes = coded_terms(terms, results, people)
    kept = _independent(design)
    effects = [
        effect if place in kept else replace(effect, withheld="not estimable: determined by the other columns")
        for place, effect in enumerate(effects, start=1)
    ]
    sample = _Sample(results, people, design[:, kept], tuple(effects[place - 1].name for place in kept[1:]))
    rule, reason = _choose(sample)
    if not sample.names:
        rule, reason = Rule.NONE, "nothing to compare"
    fit: GeeFit | FirthFit | None = None
    if rule is Rule.GEE:
        fit = logistic_gee(sample.design, results, people)
        if not fit.shown:
            rule, reason = _firth_or_none(sample, _why_no_gee(sample, fit))
    if rule is Rule.FIRTH:
        fit = logistic_firth(sample.design, results, people, level)
        if not fit.shown:
            rule, reason = Rule.NONE, f"Firth's regression {fit.withheld}"
    if rule is Rule.NONE or fit is None:
        bare = tuple(replace(effect, withheld=effect.withheld or reason) for effect in effects)
        return Regression(rule, reason, bare, *sample.counts, level, notes=notes, withheld=reason)
    for place, numbers in zip(kept[1:], _numbers(fit, level)[1:], strict=True):
        effects[place - 1] = _filled(effects[place - 1], *numbers)
    return Regression(rule, reason, _families(effects), *sample.counts, level, fit, (*notes, *_remarks(fit)))


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """p-values corrected for their number, in their own order: the i-th smallest of n times (n - i + 1), never falling.

    Refuses with ValueError what is not from 0 to 1. Holm S. Scand J Stat 1979;6:65-70.
    Referee: statsmodels' multipletests in the tests.
    """
    strange = [value for value in p_values if not 0 <= value <= 1]
    if strange:
        raise ValueError(f"p_values must be from 0 to 1, not {strange[0]}")
    corrected, highest = [0.0] * len(p_values), 0.0
    for rank, place in enumerate(sorted(range(len(p_values)), key=lambda place: p_values[place])):
        highest = max(highest, min(1.0, (len(p_values) - rank) * p_values[place]))
        corrected[place] = highest
    return tuple(corrected)


@dataclass(frozen=True, eq=False)
class _Sample:
    """outcome, patients: one per unit. design: independent columns, the first one of ones. names: of the others."""

    outcome: Floats
    patients: Whole
    design: Floats
    names: tuple[str, ...]

    @property
    def counts(self) -> tuple[int, int, int]:
        """Patients, units, events."""
        return len(np.unique(self.patients)), len(self.outcome), int(self.outcome.sum())

    @property
    def rarer(self) -> int:
        """Events or non-events, whichever are fewer."""
        _, units, events = self.counts
        return min(events, units - events)


def _choose(sample: _Sample) -> tuple[Rule, str]:
    patients, width = sample.counts[0], sample.design.shape[1]
    if patients < GEE_PATIENTS:
        return _firth_or_none(sample, f"{patients} patients, GEE needs {GEE_PATIENTS}")
    needed = GEE_EVENTS_PER_COEFFICIENT * width
    if sample.rarer < needed:
        return _firth_or_none(sample, f"{_rarer(sample)} for {width} coefficients, GEE needs {needed}")
    return Rule.GEE, f"{patients} patients, {_rarer(sample)} for {width} coefficients, no separation"


def _why_no_gee(sample: _Sample, fit: GeeFit) -> str:
    separated = separated_columns(sample.design, sample.outcome)
    if not separated:
        return f"GEE {fit.withheld}"
    named = ", ".join(("intercept", *sample.names)[place] for place in separated)
    return f"separation, no finite ordinary estimate for: {named}"


def _firth_or_none(sample: _Sample, why_not_gee: str) -> tuple[Rule, str]:
    patients, width = sample.counts[0], sample.design.shape[1]
    needed = max(FIRTH_PATIENTS, width + 1)
    if patients < needed:
        return Rule.NONE, f"too few for a regression: {patients} patients, at least {needed} are needed"
    if sample.rarer < FIRTH_EVENTS:
        return Rule.NONE, f"too few for a regression: {_rarer(sample)}, at least {FIRTH_EVENTS} are needed"
    return Rule.FIRTH, why_not_gee


def _rarer(sample: _Sample) -> str:
    _, units, events = sample.counts
    word = "event" if events <= units - events else "non-event"
    return f"1 {word}" if sample.rarer == 1 else f"{sample.rarer} {word}s"


def _independent(design: Floats) -> list[int]:
    """Places of the columns that those before them do not determine."""
    lengths = np.sqrt((design**2).sum(axis=0))
    scaled = design / np.where(lengths == 0, 1.0, lengths)
    products = scaled.T @ scaled
    kept: list[int] = []
    for place in range(design.shape[1]):
        tried = [*kept, place]
        if np.linalg.eigvalsh(products[np.ix_(tried, tried)]).min() > DEPENDENT:
            kept = tried
    return kept


def _numbers(fit: GeeFit | FirthFit, level: float) -> list[tuple[float, float | None, float | None, float]]:
    """Estimate, limits and p-value of each coefficient, on the log-odds scale."""
    if isinstance(fit, FirthFit):
        return list(zip(fit.estimates, fit.low, fit.high, fit.p_values, strict=True))
    from scipy.stats import t as student

    reach = float(student.ppf(1 - (1 - level) / 2, fit.degrees))
    return [
        (found, found - reach * error, found + reach * error, float(2 * student.sf(abs(found / error), fit.degrees)))
        for found, error in zip(fit.estimates, fit.errors, strict=True)
    ]


def _filled(effect: Effect, found: float, low: float | None, high: float | None, p_value: float) -> Effect:
    if not effect.shown:
        return effect
    if abs(found) > FARTHEST:
        return replace(effect, withheld="not estimable: the odds ratio of one step is beyond all numbers")
    low, high = (None if limit is None or abs(limit) > FARTHEST else exp(limit) for limit in (low, high))
    return replace(effect, odds_ratio=exp(found), low=low, high=high, p_value=p_value)


def _families(effects: list[Effect]) -> tuple[Effect, ...]:
    """The effects with Holm's correction over the levels of each factor."""
    corrected = list(effects)
    for term in dict.fromkeys(effect.term for effect in effects if effect.against):
        family = [place for place, effect in enumerate(effects) if effect.term == term and effect.p_value is not None]
        for place, value in zip(family, holm([effects[place].p_value or 0.0 for place in family]), strict=True):
            corrected[place] = replace(effects[place], holm_p=value)
    return tuple(corrected)


def _remarks(fit: GeeFit | FirthFit) -> tuple[str, ...]:
    if isinstance(fit, GeeFit):
        return (f"independence as working correlation: {fit.reason}",) if fit.reason else ()
    if fit.approximate:
        return (f"approximate: likelihood ratios divided by the design effect {fit.design_effect:.2f}",)
    return ()
