"""How the operations of a period were done and recorded: one count per criterion of process. Knows no Django."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

from audit.measures.columns import Column, Holds
from audit.measures.strata import clustered
from audit.stats.proportion import Proportion
from clinic.dosing.results import LimitState

LONGEST_USUAL_TOURNIQUET_MINUTES = 20  # usual in practice, no published limit for a toe
WITHIN_LIMIT = [LimitState.WITHIN.value, LimitState.AT_LIMIT.value]

TOES: Mapping[str, Column] = {
    "toe_key": Column("The nail procedure, one row each", Holds.KEY),
    "patient_key": Column("The patient", Holds.KEY),
    "performed_on": Column("Date of the operation", Holds.DAY),
    "consent_recorded": Column("Consent to this toe, talked about, confirmed and written down by the day", Holds.TRUTH),
    "site_matched": Column(
        "Foot, toe and part of the nail are the same in consent and operation, and twice in the checklist", Holds.TRUTH
    ),
    "live_phases": Column("Phases of the checklist gone through at the time, 0 to 3", Holds.WHOLE, low=0, high=3),
    "tourniquet_used": Column("Whether a tourniquet was used", Holds.TRUTH),
    "tourniquet_minutes": Column(
        "Minutes from on to off", Holds.NUMBER, unit="min", missing="not timed, or none used", low=0
    ),
    "removal_witnessed": Column("Two people saw the tourniquet off", Holds.TRUTH),
    "doses": Column("Rows of anaesthetic of the operation", Holds.WHOLE, low=0),
    "dose_state": Column("How the anaesthetic stands to the approved limits", Holds.CODE, terms=LimitState),
    "weight_recorded": Column("Weight on the day of the operation", Holds.TRUTH),
    "batches_recorded": Column("Batch and expiry of every anaesthetic, and of the agent if one was used", Holds.TRUTH),
    "takes_agent": Column("Whether the technique uses a chemical agent", Holds.TRUTH),
    "exposure_recorded": Column("Seconds or a total at every treated side", Holds.TRUTH),
    "perfusion_assessed": Column("A pulse, Doppler signal, pressure or ratio of that foot by the day", Holds.TRUTH),
}


@dataclass(frozen=True)
class Criterion:
    """What is counted. code: as in the practice's list of criteria. target: the expected share, 0 to 1.

    definition: what counts and what does not. apart: what is in neither number, and why; empty where nothing is.
    """

    code: str
    label: str
    numerator: str
    denominator: str
    target: float
    definition: str
    apart: str = ""


EVERY = "all nail procedures"
CRITERIA = (
    Criterion(
        "P1", "Consent recorded before the operation", "both dates on record by the day", EVERY, 1.0,
        "A consent to that toe, whatever the part of the nail, talked about and confirmed on or before the day of the "
        "operation and written down by its end. A consent counts for one operation.",
    ),
    Criterion(
        "P2", "Foot, toe and side match", "the same in consent, checklist and operation", EVERY, 1.0,
        "The consent names exactly the foot, toe and part of the nail that were operated on, and the checklist answers "
        "both its lines about the site with yes. A difference that somebody decided about is still not a match.",
    ),
    Criterion(
        "P3", "Checklist gone through at the time", "all three phases at the time", EVERY, 1.0,
        "A phase filled in after what it is meant to precede, or on another day, is not at the time.",
    ),
    Criterion(
        "P4a", "Tourniquet removal witnessed", "seen off by two people", "a tourniquet was used", 1.0,
        "Alone, the patient or a carer counts as the second person.",
    ),
    Criterion(
        "P4b", "Tourniquet timed", "on and off time recorded", "a tourniquet was used", 1.0,
        "Both times are on record.",
    ),
    Criterion(
        "P5", f"Tourniquet on for at most {LONGEST_USUAL_TOURNIQUET_MINUTES} minutes",
        f"at most {LONGEST_USUAL_TOURNIQUET_MINUTES} minutes", "on and off time recorded", 0.95,
        "From the first time on to the last time off. No published limit for a toe is known; this one is usual.",
    ),
    Criterion(
        "P6", "Anaesthetic within the approved limit", "within it, and the weight recorded",
        "anaesthetic given and a limit approved for it", 1.0,
        "All doses of the attendance beside the limits that the practice lead approved, as they stand now. Without a "
        "weight, a volume or the vasoconstrictor it is not within. It counts; it recommends no dose.",
        apart="limit not assessed: no approved limit",
    ),
    Criterion(
        "P7", "Batch and expiry recorded", "of every anaesthetic, and of the agent", EVERY, 1.0,
        "Where no anaesthetic is recorded, its batch is not, either. Without an agent only the anaesthetic is asked.",
    ),
    Criterion(
        "P8", "Exposure recorded", "seconds or a total at every treated side", "a chemical agent was used", 0.98,
        "Applications with their seconds, or only the total.",
    ),
    Criterion(
        "P9", "Blood supply assessed", "a finding at that foot", EVERY, 1.0,
        "In the newest assessment of the year before the operation: a pulse felt for, a Doppler signal listened for, "
        "or a pressure or ratio. The line of the checklist alone is none.",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Met:
    """One criterion counted. found: None where the denominator is empty.

    met_keys, missed: keys of the nail procedures of the denominator inside and outside the numerator; apart: of those
    in neither.
    """

    criterion: Criterion
    met: int
    of: int
    patients: int
    found: Proportion | None
    met_keys: tuple[str, ...]
    missed: tuple[str, ...]
    apart: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rule:
    """Which rows are asked, which of them answered well, which stand apart; each a column of truths."""

    asked: pd.Series
    good: pd.Series
    apart: pd.Series | None = None


def process(toes: pd.DataFrame) -> tuple[Met, ...]:
    """Every criterion, in order. toes: one row per nail procedure, columns as in TOES."""
    return tuple(_met(criterion, toes) for criterion in CRITERIA)


def _met(criterion: Criterion, toes: pd.DataFrame) -> Met:
    rule = _RULES[criterion.code](toes)
    asked = rule.asked.to_numpy(bool)
    own, good = toes[asked], rule.good[asked].astype(bool)
    apart = toes.loc[rule.apart.to_numpy(bool), "toe_key"] if rule.apart is not None else ()
    return Met(
        criterion,
        int(good.sum()),
        len(own),
        int(own["patient_key"].nunique()),
        clustered(own, good) if len(own) else None,
        tuple(own.loc[good, "toe_key"]),
        tuple(own.loc[~good, "toe_key"]),
        tuple(apart),
    )


def _of_all(column: str) -> Callable[[pd.DataFrame], Rule]:
    return lambda toes: Rule(pd.Series(True, index=toes.index), toes[column])


def _checklist(toes: pd.DataFrame) -> Rule:
    return Rule(pd.Series(True, index=toes.index), toes["live_phases"] == 3)


def _witnessed(toes: pd.DataFrame) -> Rule:
    return Rule(toes["tourniquet_used"], toes["removal_witnessed"])


def _timed(toes: pd.DataFrame) -> Rule:
    return Rule(toes["tourniquet_used"], toes["tourniquet_minutes"].notna())


def _duration(toes: pd.DataFrame) -> Rule:
    timed = toes["tourniquet_used"].astype(bool) & toes["tourniquet_minutes"].notna()
    return Rule(timed, toes["tourniquet_minutes"] <= LONGEST_USUAL_TOURNIQUET_MINUTES)


def _doses(toes: pd.DataFrame) -> Rule:
    given = toes["dose_state"] != LimitState.NONE_GIVEN.value
    unlimited = given & (toes["dose_state"] == LimitState.NO_LIMIT.value)
    within = toes["dose_state"].isin(WITHIN_LIMIT) & toes["weight_recorded"].astype(bool)
    return Rule(given & ~unlimited, within, unlimited)


def _exposure(toes: pd.DataFrame) -> Rule:
    return Rule(toes["takes_agent"], toes["exposure_recorded"])


_RULES: Mapping[str, Callable[[pd.DataFrame], Rule]] = {
    "P1": _of_all("consent_recorded"),
    "P2": _of_all("site_matched"),
    "P3": _checklist,
    "P4a": _witnessed,
    "P4b": _timed,
    "P5": _duration,
    "P6": _doses,
    "P7": _of_all("batches_recorded"),
    "P8": _exposure,
    "P9": _of_all("perfusion_assessed"),
}
