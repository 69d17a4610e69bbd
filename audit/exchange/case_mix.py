"""Observed over expected: what a practice's own case mix would lead one to expect in the pool. Knows no Django."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.exchange.coarsest import to_coarsest
from audit.exchange.pooled import Line, Member
from audit.exchange.units import units_of
from audit.measures.definitions import Outcome, Unit
from audit.measures.strata import headline_units
from audit.stats.clustered import design_effect
from audit.stats.firth import logistic_firth
from audit.stats.funnel import ObservedExpected, observed_over_expected
from audit.stats.model_terms import Factor, coded_terms
from audit.stats.patient_types import patient_numbers

TERMS = {"technique": "technique", "side": "side", "age_band": "age"}
FEWEST_EVENTS, FEWEST_KNOWN = 5, 50


@dataclass(frozen=True)
class CaseMix:
    """rows: one per practice that stands under its own code in the headline, in the order of the codes.

    terms: what was adjusted for. withheld: why nothing could be expected; rows are then empty.
    """

    rows: tuple[ObservedExpected, ...]
    terms: tuple[str, ...] = tuple(TERMS)
    notes: tuple[str, ...] = ()
    withheld: str = ""

    @property
    def mix_of(self) -> str:
        """The terms in words: "technique and side"; empty where every unit is alike in all of them."""
        words = [TERMS[name] for name in self.terms]
        return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def case_mix(members: Sequence[Member], outcome: Outcome, unit: Unit, headline: Line) -> CaseMix:
    """Expected events of each practice by Firth's regression on technique, side and age over all practices.

    headline: of the same question. Its pool and these rows are read side by side, so a practice that stands among the
    others there has no row here, and where it may not be pooled nothing is expected.
    The expected events are scaled so that all together are as many as were observed: the penalty alone would expect a
    few more. An association adjusted for what every file tells, no more.
    """
    if headline.withheld:
        return CaseMix((), withheld=headline.withheld)
    ordered = sorted(members, key=lambda member: member.code)
    alike = to_coarsest(ordered)
    shown = {each.code for each in headline.contributions if not each.hidden}
    known = [_known(member, outcome, unit) for member in alike.members]
    units = pd.concat(known, ignore_index=True) if known else pd.DataFrame()
    events = int(units["event"].sum()) if len(units) else 0
    if len(units) < FEWEST_KNOWN or events < FEWEST_EVENTS:
        return CaseMix((), withheld=f"too few to expect anything: {events} events of {len(units)} known, at least "
                       f"{FEWEST_EVENTS} of {FEWEST_KNOWN} are needed")  # fmt: skip
    results = units["event"].to_numpy(np.float64)
    people = patient_numbers(units["patient_key"].to_numpy(str), len(units))
    terms = tuple(name for name in TERMS if units[name].nunique() > 1)
    design, notes = np.ones((len(units), 1)), ()
    if terms:
        factors = [Factor(TERMS[name], units[name].tolist(), merge_small=True) for name in terms]
        _, design, notes = coded_terms(factors, results, people)
    design = _independent(design)
    fit = logistic_firth(design, results)
    if not fit.shown:
        return CaseMix((), withheld=f"no regression: {fit.withheld}")
    risk = 1 / (1 + np.exp(-(design @ np.array(fit.estimates))))
    risk *= events / risk.sum()
    rows = [
        _row(member.code, units[place].assign(risk=risk[place]))
        for member in ordered
        if member.code in shown and (place := (units["practice"] == member.code).to_numpy()).any()
    ]
    if not rows:
        return CaseMix((), withheld="no practice stands under its own code")
    return CaseMix(tuple(rows), terms, (*alike.notes, *notes))


def _known(member: Member, outcome: Outcome, unit: Unit) -> pd.DataFrame:
    units = headline_units(units_of(member.rows, outcome, unit))
    known = units[units["status"].isin(["event", "clear"])]
    return known.assign(practice=member.code, patient_key=member.code + " " + known["patient_key"])


def _row(code: str, units: pd.DataFrame) -> ObservedExpected:
    grouped = units["event"].astype(int).groupby(units["patient_key"])
    effect = design_effect(grouped.sum().tolist(), grouped.size().tolist()) if grouped.ngroups > 1 else None
    worst = len(units) / grouped.ngroups
    return observed_over_expected(
        code, int(units["event"].sum()), float(units["risk"].sum()), max(1.0, worst if effect is None else effect)
    )  # fmt: skip


def _independent(design: np.ndarray) -> np.ndarray:
    """The columns that are not determined by those before them."""
    kept: list[int] = []
    for place in range(design.shape[1]):
        if np.linalg.matrix_rank(design[:, [*kept, place]]) > len(kept):
            kept.append(place)
    return design[:, kept]
