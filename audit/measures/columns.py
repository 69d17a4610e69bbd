"""The frames that the audit counts on: every column declared once. Knows no Django and no names of people."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import pandas as pd

from clinic.vocabulary import procedure, review
from clinic.vocabulary.terms import Term

# A treated side is described by words of the operation; "not recorded" is one of those words, never a gap.
NOT_MISSING = "always present"
OPAQUE = "always present; random, derived from nothing"


class Holds(StrEnum):
    """What kind of value a column holds; `check` looks at nothing else."""

    KEY = "an opaque key"
    CODE = "a code"
    DAY = "a date"
    WHOLE = "a whole number"
    NUMBER = "a number"
    TRUTH = "true or false"


@dataclass(frozen=True)
class Column:
    """One column of a frame.

    missing: what an empty cell means; NOT_MISSING or OPAQUE where a cell is never empty.
    terms: the vocabulary of a code. low, high: both belong to the range.
    """

    description: str
    holds: Holds
    unit: str = ""
    missing: str = NOT_MISSING
    terms: type[Term] | None = None
    low: float | None = None
    high: float | None = None

    @property
    def may_be_missing(self) -> bool:
        return self.missing not in {NOT_MISSING, OPAQUE}


@dataclass(frozen=True)
class Cohort:
    """Everything known by `as_of` about the operations of one practice in one period, without names.

    performed_from, performed_to: dates of operation, both included. as_of: the data cut-off.
    sides: one row per treated side (SIDES). findings: one row per side and review (FINDINGS).
    toe_findings: one row per toe and review (TOE_FINDINGS).
    bands: upper limits of the exposure bands in seconds, ascending, each belonging to its band.
    """

    practice_code: str
    performed_from: date
    performed_to: date
    as_of: date
    sides: pd.DataFrame
    findings: pd.DataFrame
    toe_findings: pd.DataFrame
    bands: tuple[int, ...]


def _key(description: str) -> Column:
    return Column(description, Holds.KEY, missing=OPAQUE)


def _code(description: str, terms: type[Term]) -> Column:
    return Column(description, Holds.CODE, terms=terms)


def _day(description: str) -> Column:
    return Column(description, Holds.WHOLE, unit="days since operation", low=0)


def _later_day(description: str, missing: str) -> Column:
    return Column(description, Holds.NUMBER, unit="days since operation", missing=missing, low=0)


def _answer(description: str) -> Column:
    return _code(description, procedure.Answer)


SIDES: Mapping[str, Column] = {
    "side_key": _key("The treated side, one row each"),
    "toe_key": _key("The nail procedure: one toe at one operation"),
    "operation_key": _key("The operation: one attendance"),
    "patient_key": _key("The patient"),
    "performed_on": Column("Date of the operation, day 0", Holds.DAY),
    "age_years": Column("Age at operation", Holds.WHOLE, unit="years", missing="not recorded", low=0, high=130),
    "sex": _code("Sex as registered", procedure.Sex),
    "foot": _code("Foot", procedure.Foot),
    "toe": Column("Toe, 1 is the hallux", Holds.WHOLE, low=1, high=5),
    "side": _code("Treated side", procedure.NailSide),
    "technique": _code("Technique", procedure.Technique),
    "matrix_destroyed": Column("Whether the matrix was destroyed at this side", Holds.TRUTH),
    "agent": _code("Chemical agent", procedure.Agent),
    "exposure_seconds": Column(
        "Time the agent was in contact with the matrix, all applications together",
        Holds.NUMBER,
        unit="s",
        missing="not recorded, or no agent: `takes_agent` tells which",
        low=0,
    ),
    "takes_agent": Column("Whether the technique uses a chemical agent", Holds.TRUTH),
    "strength_percent": Column(
        "Strength of the agent", Holds.NUMBER, unit="%", missing="not recorded, or no agent", low=0, high=100
    ),
    "strength_basis": _code("Basis of the strength", procedure.StrengthBasis),
    # How the dose was given, as a peer reviewer asks for it; no measure counts on it.
    "applications": Column(
        "Applications of the agent", Holds.NUMBER, missing="only the total is known, or none", low=1
    ),
    "seconds_each": Column(
        "Seconds of one application", Holds.NUMBER, unit="s", missing="not known, or they were not alike", low=1
    ),
    "curettage": _code("Scraping of the matrix", procedure.Curettage),
    "lavage": _code("Irrigation after the agent", procedure.Lavage),
    "operator": _key("The operator"),
    "infection_at_operation": _code("State of the toe before the first incision", procedure.LocalInfection),
    "prior_surgery": _answer("Earlier surgery on the same side, here or elsewhere"),
    "died_day": _later_day("Death of the patient", "alive or not known at the cut-off"),
    "reoperated_day": _later_day("Recorded operation that revises this side", "none recorded by the cut-off"),
    "amputated_day": _later_day("Amputation of the toe", "none on record by the cut-off"),
    "loss_reason": _code("Why the outcome would be unknown, from the contact log", review.LossReason),
}

_REVIEW: Mapping[str, Column] = {
    "review_key": _key("The review"),
    "day": _day("When the side was seen"),
    "origin": _code("How the review came about", review.Origin),
    "observer": _code("Who looked", review.Observer),
    "means": _code("By what means", review.Means),
}

FINDINGS: Mapping[str, Column] = {
    "side_key": _key("The treated side"),
    **_REVIEW,
    "extent": _code("How much nail has come back", review.Extent),
    "symptoms": _code("Symptoms at the side", review.Symptoms),
    "retreatment": _code("What was done about it", review.Retreatment),
}

TOE_FINDINGS: Mapping[str, Column] = {
    "toe_key": _key("The nail procedure"),
    "review_key": _REVIEW["review_key"],
    "day": _day("When the toe was seen"),
    "means": _REVIEW["means"],
    "signs": _code("Answer on signs of infection", review.Signs),
    "fluid_colour": _code("Colour of the wound fluid", review.FluidColour),
    "fluid_consistency": _code("Consistency of the wound fluid", review.FluidConsistency),
    "fluid_amount": _code("Amount of the wound fluid", review.FluidAmount),
    "erythema_mm": Column(
        "Redness from the wound edge, largest radius", Holds.NUMBER, unit="mm", missing="not assessed", low=0, high=100
    ),
    "spreading": _answer("Redness spreading since the last review"),
    "swelling": _answer("Localised swelling"),
    "warmth": _answer("Local warmth"),
    "tenderness": _answer("New or worsening pain or tenderness"),
    "odour": _answer("Odour"),
    "lymphangitis": _answer("Lymphangitis or swollen nodes"),
    "wound_opened": _answer("Wound deliberately opened"),
    "swab": _code("Swab", review.Swab),
    "antibiotic": _code("Antibiotic since the last review", review.Antibiotic),
    "diagnosis": _code("What the clinician called it", review.Diagnosis),
    "healing": _code("State of healing", review.Healing),
    "pain": Column("Pain score", Holds.NUMBER, unit="0 to 10", missing="not asked", low=0, high=10),
    "satisfaction": _code("Satisfaction", review.Satisfaction),
}

_SAME_ON_A_TOE = ("operation_key", "patient_key", "performed_on", "technique", "matrix_destroyed", "agent")


def check(cohort: Cohort) -> None:
    """Refuses a cohort that could not be counted honestly, with ValueError naming frame, column and row.

    Looks for: columns present; nothing missing where a column is never missing; codes of the vocabulary; ranges;
    one row per side; findings of known sides and toes only; operations within the period and by the cut-off; sides
    of one toe that agree on the operation. Extra columns are let through.
    """
    _check_frame("sides", cohort.sides, SIDES)
    _check_frame("findings", cohort.findings, FINDINGS)
    _check_frame("toe_findings", cohort.toe_findings, TOE_FINDINGS)
    _check_bands(cohort.bands)
    _check_keys(cohort)
    _check_dates(cohort)
    _check_toes(cohort.sides)


def _check_frame(frame_name: str, frame: pd.DataFrame, columns: Mapping[str, Column]) -> None:
    for name, column in columns.items():
        if name not in frame.columns:
            raise ValueError(f"{frame_name}: column {name} is missing")
        _check_column(f"{frame_name}.{name}", frame[name], column)


def _check_column(where: str, values: pd.Series, column: Column) -> None:
    if not column.may_be_missing:
        _refuse(where, values, values.isna(), "is empty")
    present = values[values.notna()]
    if column.terms is not None:
        _refuse(where, present, ~present.isin(column.terms.codes()), f"is not a code of {column.terms.__name__}")
    if column.holds is Holds.TRUTH:
        _refuse(where, present, ~present.isin([True, False]), "is neither true nor false")
    if column.holds in {Holds.WHOLE, Holds.NUMBER} and len(present):
        _check_number(where, present, column)


def _check_number(where: str, values: pd.Series, column: Column) -> None:
    numbers = pd.to_numeric(values, errors="coerce").astype("float64")
    _refuse(where, values, numbers.isna(), "is not a number")
    if column.holds is Holds.WHOLE:
        _refuse(where, values, numbers % 1 != 0, "is not a whole number")
    if column.low is not None:
        _refuse(where, values, numbers < column.low, f"is below {column.low}")
    if column.high is not None:
        _refuse(where, values, numbers > column.high, f"is above {column.high}")


def _check_bands(bands: tuple[int, ...]) -> None:
    if not bands or list(bands) != sorted(set(bands)) or bands[0] <= 0:
        raise ValueError(f"bands must be ascending seconds above 0, not {bands}")


def _check_keys(cohort: Cohort) -> None:
    sides = cohort.sides
    _refuse("sides.side_key", sides["side_key"], sides["side_key"].duplicated(), "occurs twice")
    for name, frame, key in (
        ("findings", cohort.findings, "side_key"),
        ("toe_findings", cohort.toe_findings, "toe_key"),
    ):
        _refuse(f"{name}.{key}", frame[key], ~frame[key].isin(sides[key]), "is not in sides")
        twice = frame.duplicated([key, "review_key"])
        _refuse(f"{name}.review_key", frame["review_key"], twice, "occurs twice for one " + key.removesuffix("_key"))


def _check_dates(cohort: Cohort) -> None:
    days = cohort.sides["performed_on"]
    dates = pd.to_datetime(days)
    _refuse("sides.performed_on", days, dates < pd.Timestamp(cohort.performed_from), "is before the period")
    last = min(cohort.performed_to, cohort.as_of)
    _refuse("sides.performed_on", days, dates > pd.Timestamp(last), "is after the period or the cut-off")


def _check_toes(sides: pd.DataFrame) -> None:
    for name in _SAME_ON_A_TOE:
        first = sides.groupby("toe_key")[name].transform("first")
        _refuse(f"sides.{name}", sides[name], first != sides[name], "differs between sides of one toe")


def _refuse(where: str, values: pd.Series, wrong: pd.Series, problem: str) -> None:
    """Raises for the first wrong row; the row is named by its place, which is the same in every listing."""
    places = wrong.to_numpy(dtype=bool).nonzero()[0]
    if len(places):
        value = values.tolist()[places[0]]
        raise ValueError(f"{where}, row {wrong.index[places[0]]}: {value!r} {problem}")
