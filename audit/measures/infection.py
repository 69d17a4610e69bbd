"""Infection by five separate rules and one variant, per toe, within 30 days. Knows no Django.

Phenol leaves a burn that weeps: thin straw-coloured fluid is expected and is not pus. Components are counted, never the
word "infected", and no rule is called by the name of any surveillance system: an avulsion is not one of its categories.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from types import MappingProxyType
from typing import Any

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import Shown
from audit.measures.rows import dicts
from audit.measures.strata import clustered, shown_by
from audit.stats.proportion import Proportion
from clinic.vocabulary import sources as s
from clinic.vocabulary.procedure import Answer, LocalInfection
from clinic.vocabulary.review import Antibiotic, Diagnosis, FluidColour, FluidConsistency, Swab
from clinic.vocabulary.terms import Term

# Rule A calls the day of operation day 1, so its 30th day is 29 days later; rule B counts 30 days after.
LAST_DAY_RULE_A = 29
LAST_DAY = 30

_PUS_COLOURS = {FluidColour.GREEN.value, FluidColour.YELLOW.value}
_PUS_CONSISTENCIES = {
    FluidConsistency.THICK.value,
    FluidConsistency.CREAMY.value,
    FluidConsistency.MILKY.value,
    FluidConsistency.OPAQUE.value,
    FluidConsistency.VISCOUS.value,
}
_ORGANISM = {Swab.ORGANISM.value, Swab.ORGANISM_PUS.value}
_BELOW_THE_SKIN = {Diagnosis.DEEP.value, Diagnosis.OSTEOMYELITIS.value}
_INFECTED = {term.value for term in Diagnosis if term.infected}
_GIVEN = {term.value for term in Antibiotic if term.given}
_NOT_LOOKED = {LocalInfection.NOT_ASSESSED.value, LocalInfection.NOT_RECORDED.value}


class Flag(Term):
    """Printed side by side; the rules do not agree, and that is the point."""

    RULE_A = (
        "rule_a", "Rule A",
        "Day 0 to 29 (operation day is day 1 of 30), skin and tissue below it only: pus; or an organism; or wound "
        "opened, no swab taken, with a local sign; or the clinician diagnosed a superficial infection",
        s.SURVEILLANCE_30_DAYS,
    )  # fmt: skip
    RULE_A_SIGNS = (
        "rule_a_signs", "Rule A without clinician diagnosis",
        "Rule A, leaving out the clinician's diagnosis as a ground of its own", s.SURVEILLANCE_30_DAYS,
    )  # fmt: skip
    RULE_B = (
        "rule_b", "Rule B",
        "Day 0 to 30: pus; or an organism with pus cells; or at least two of pain or tenderness, swelling, redness and "
        "warmth together with a wound opened or an infection diagnosed",
        s.SIGN_COUNT_30_DAYS,
    )  # fmt: skip
    CLINICIAN = "clinician", "Clinician diagnosis", "Day 0 to 30: any infection named by a clinician", s.OWN_DESIGN
    ANTIBIOTIC = "antibiotic", "Antibiotic given", "Day 0 to 30: given by anybody, for any reason", s.OWN_DESIGN
    CULTURE = "culture", "Culture positive", "Day 0 to 30: an organism was grown from a swab", s.OWN_DESIGN


@dataclass(frozen=True)
class FlagCount:
    """Toes with one flag, of the toes with a contact on day 1 to 30.

    events = present_before + absent_before + unknown_before: infection at operation present, absent, not looked for.
    interval: clustered on the patient; None where no rate may be shown. keys: toe keys of the events.
    """

    flag: Flag
    events: int
    total: int
    patients: int
    present_before: int
    absent_before: int
    unknown_before: int
    interval: Proportion | None
    shown: Shown
    keys: tuple[str, ...]

    @property
    def rate(self) -> float | None:
        return self.interval.rate if self.interval else None


@dataclass(frozen=True)
class Infection:
    """All flags of one cohort. toes = contacted + without_contact + pending; toe keys in `keys` by the same words.

    present_before, absent_before, unknown_before: contacted toes by infection at operation.
    """

    toes: int
    contacted: int
    without_contact: int
    pending: int
    patients: int
    present_before: int
    absent_before: int
    unknown_before: int
    flags: tuple[FlagCount, ...]
    keys: Mapping[str, tuple[str, ...]]


def infection(cohort: Cohort) -> Infection:
    """Counts every flag over the toes of the cohort with at least one contact on day 1 to 30.

    cohort: frames as declared in `columns`. A toe operated on less than 30 days before the cut-off is pending; one
    without a contact is counted apart, because nobody looked. Rates are proportions, 0 to 1.
    """
    toes = toe_flags(cohort)
    contacted = toes[toes["standing"] == "contacted"]
    keys = {word: tuple(toes.loc[toes["standing"] == word, "toe_key"]) for word in _STANDINGS}
    before = contacted["before"]
    return Infection(
        toes=len(toes),
        contacted=len(contacted),
        without_contact=len(keys["without_contact"]),
        pending=len(keys["pending"]),
        patients=int(contacted["patient_key"].nunique()),
        present_before=int((before == "present").sum()),
        absent_before=int((before == "absent").sum()),
        unknown_before=int((before == "unknown").sum()),
        flags=tuple(_flag_count(contacted, flag) for flag in Flag),
        keys=MappingProxyType(keys),
    )


_STANDINGS = ("contacted", "without_contact", "pending")


def toe_flags(cohort: Cohort) -> pd.DataFrame:
    """One row per toe: toe_key, patient_key, standing, before, and a true or false column per code of Flag.

    standing: "contacted" with a contact on day 1 to 30, "without_contact", or "pending" before day 30 is over.
    before: infection at operation, "present", "absent" or "unknown". A flag is false where nothing shows it.
    """
    toes = cohort.sides.drop_duplicates("toe_key")
    reviews: dict[str, list[Mapping[str, Any]]] = {}
    for row in dicts(cohort.toe_findings):
        reviews.setdefault(str(row["toe_key"]), []).append(row)
    last = pd.Timestamp(cohort.as_of - timedelta(days=LAST_DAY))
    rows = [_toe_row(toe, reviews.get(str(toe["toe_key"]), []), last) for toe in dicts(toes)]
    columns = ["toe_key", "patient_key", "standing", "before", *Flag.codes()]
    return pd.DataFrame(rows, columns=columns).astype({code: bool for code in Flag.codes()})


def is_pus(colour: str, consistency: str) -> bool:
    """Whether wound fluid counts as pus: one colour and one consistency of the list, never one alone.

    colour, consistency: codes of FluidColour and FluidConsistency. Surveillance criteria, 30 days, adapted.
    """
    return colour in _PUS_COLOURS and consistency in _PUS_CONSISTENCIES


def rule_a_signs(row: Mapping[str, Any]) -> bool:
    """Rule A without the clinician's diagnosis, for one toe at one review (columns of TOE_FINDINGS)."""
    if _day(row) > LAST_DAY_RULE_A or row["diagnosis"] in _BELOW_THE_SKIN:
        return False
    opened_untested = row["wound_opened"] == Answer.YES and row["swab"] == Swab.NOT_TAKEN
    return _has_pus(row) or row["swab"] in _ORGANISM or (opened_untested and local_signs(row) > 0)


def rule_a(row: Mapping[str, Any]) -> bool:
    """Rule A for one toe at one review (columns of TOE_FINDINGS)."""
    return rule_a_signs(row) or (_day(row) <= LAST_DAY_RULE_A and row["diagnosis"] == Diagnosis.SUPERFICIAL)


def rule_b(row: Mapping[str, Any]) -> bool:
    """Rule B, the count of signs, for one toe at one review (columns of TOE_FINDINGS)."""
    if _day(row) > LAST_DAY:
        return False
    acted_on = row["wound_opened"] == Answer.YES or row["diagnosis"] in _INFECTED
    return _has_pus(row) or row["swab"] == Swab.ORGANISM_PUS or (local_signs(row) > 1 and acted_on)


def local_signs(row: Mapping[str, Any]) -> int:
    """How many of four signs: pain or tenderness, swelling, redness, warmth (columns of TOE_FINDINGS).

    Pain and tenderness are one question of the record and so one sign; a pain score alone is none, because every
    wound hurts. Not assessed counts as not seen.
    """
    redness = float(row["erythema_mm"]) > 0 or row["spreading"] == Answer.YES
    answers = [row[name] == Answer.YES for name in ("tenderness", "swelling", "warmth")]
    return sum([*answers, redness])


_RULES: Mapping[Flag, Callable[[Mapping[str, Any]], bool]] = {
    Flag.RULE_A: rule_a,
    Flag.RULE_A_SIGNS: rule_a_signs,
    Flag.RULE_B: rule_b,
    Flag.CLINICIAN: lambda row: _day(row) <= LAST_DAY and row["diagnosis"] in _INFECTED,
    Flag.ANTIBIOTIC: lambda row: _day(row) <= LAST_DAY and row["antibiotic"] in _GIVEN,
    Flag.CULTURE: lambda row: _day(row) <= LAST_DAY and row["swab"] in _ORGANISM,
}


def _day(row: Mapping[str, Any]) -> int:
    return int(row["day"])


def _has_pus(row: Mapping[str, Any]) -> bool:
    return is_pus(str(row["fluid_colour"]), str(row["fluid_consistency"]))


def _toe_row(toe: Mapping[str, Any], reviews: list[Mapping[str, Any]], last: pd.Timestamp) -> dict[str, Any]:
    flags = {flag.value: any(rule(row) for row in reviews) for flag, rule in _RULES.items()}
    return {
        "toe_key": str(toe["toe_key"]),
        "patient_key": str(toe["patient_key"]),
        "standing": _standing(toe, reviews, last),
        "before": _before(str(toe["infection_at_operation"])),
        **flags,
    }


def _standing(toe: Mapping[str, Any], reviews: list[Mapping[str, Any]], last: pd.Timestamp) -> str:
    if pd.Timestamp(toe["performed_on"]) > last:
        return "pending"
    return "contacted" if any(1 <= _day(row) <= LAST_DAY for row in reviews) else "without_contact"


def _before(code: str) -> str:
    if code in _NOT_LOOKED:
        return "unknown"
    return "present" if LocalInfection(code).present else "absent"


def _flag_count(toes: pd.DataFrame, flag: Flag) -> FlagCount:
    hit = toes[toes[flag.value]]
    patients = int(toes["patient_key"].nunique())
    shown = shown_by(len(toes), patients)
    before = hit["before"].value_counts()
    return FlagCount(
        flag=flag,
        events=len(hit),
        total=len(toes),
        patients=patients,
        present_before=int(before.get("present", 0)),
        absent_before=int(before.get("absent", 0)),
        unknown_before=int(before.get("unknown", 0)),
        interval=clustered(toes, toes[flag.value]) if shown in {Shown.FULL, Shown.HOLLOW} else None,
        shown=shown,
        keys=tuple(hit["toe_key"]),
    )
