"""How the operations of a period were done and recorded: one count per criterion of process. Knows no Django."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from audit.measures.columns import Column, Holds
from audit.measures.strata import clustered
from audit.stats.proportion import Proportion

LONGEST_USUAL_TOURNIQUET_MINUTES = 20

TOES: Mapping[str, Column] = {
    "toe_key": Column("The nail procedure, one row each", Holds.KEY),
    "patient_key": Column("The patient", Holds.KEY),
    "performed_on": Column("Date of the operation", Holds.DAY),
    "live_phases": Column("Phases of the checklist gone through at the time, 0 to 3", Holds.WHOLE, low=0, high=3),
    "tourniquet_used": Column("Whether a tourniquet was used", Holds.TRUTH),
    "tourniquet_minutes": Column(
        "Minutes from on to off", Holds.NUMBER, unit="min", missing="not timed, or none used", low=0
    ),
    "removal_witnessed": Column("Two people saw the tourniquet off", Holds.TRUTH),
    "doses": Column("Rows of anaesthetic of the operation", Holds.WHOLE, low=0),
    "batches_recorded": Column("Batch and expiry of every anaesthetic, and of the agent if one was used", Holds.TRUTH),
    "takes_agent": Column("Whether the technique uses a chemical agent", Holds.TRUTH),
    "exposure_recorded": Column("Seconds or a total at every treated side", Holds.TRUTH),
}


@dataclass(frozen=True)
class Criterion:
    """What is counted. code: as in the practice's list of criteria. target: the expected share, 0 to 1."""

    code: str
    label: str
    numerator: str
    denominator: str
    target: float


CRITERIA = (
    Criterion("P3", "Checklist gone through at the time", "all three phases at the time", "all nail procedures", 1.0),
    Criterion("P4a", "Tourniquet removal witnessed", "seen off by two people", "a tourniquet was used", 1.0),
    Criterion("P4b", "Tourniquet timed", "on and off time recorded", "a tourniquet was used", 1.0),
    Criterion("P5", f"Tourniquet on for at most {LONGEST_USUAL_TOURNIQUET_MINUTES} minutes",
              f"at most {LONGEST_USUAL_TOURNIQUET_MINUTES} minutes", "on and off time recorded", 0.95),
    Criterion("P7", "Batch and expiry recorded", "of every anaesthetic, and of the agent", "all nail procedures", 1.0),
    Criterion("P8", "Exposure recorded", "seconds or a total at every treated side", "a chemical agent was used", 0.98),
)  # fmt: skip


@dataclass(frozen=True)
class Met:
    """One criterion counted. missed: keys of the nail procedures of the denominator that are not in the numerator.

    found: None where the denominator is empty.
    """

    criterion: Criterion
    met: int
    of: int
    patients: int
    found: Proportion | None
    missed: tuple[str, ...]


def process(toes: pd.DataFrame) -> tuple[Met, ...]:
    """Every criterion, in order. toes: one row per nail procedure, columns as in TOES."""
    return tuple(_met(criterion, toes) for criterion in CRITERIA)


def _met(criterion: Criterion, toes: pd.DataFrame) -> Met:
    asked, answered = _RULES[criterion.code](toes)
    own = toes[asked.to_numpy(bool)]
    good = answered[asked.to_numpy(bool)].astype(bool)
    return Met(
        criterion,
        int(good.sum()),
        len(own),
        int(own["patient_key"].nunique()),
        clustered(own, good) if len(own) else None,
        tuple(own.loc[~good, "toe_key"]),
    )


def _everything(toes: pd.DataFrame) -> pd.Series:
    return pd.Series(True, index=toes.index)


def _checklist(toes: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    return _everything(toes), toes["live_phases"] == 3


def _witnessed(toes: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    return toes["tourniquet_used"], toes["removal_witnessed"]


def _timed(toes: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    return toes["tourniquet_used"], toes["tourniquet_minutes"].notna()


def _duration(toes: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    timed = toes["tourniquet_used"].astype(bool) & toes["tourniquet_minutes"].notna()
    return timed, toes["tourniquet_minutes"] <= LONGEST_USUAL_TOURNIQUET_MINUTES


def _batches(toes: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    return _everything(toes), toes["batches_recorded"]


def _exposure(toes: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    return toes["takes_agent"], toes["exposure_recorded"]


_RULES = {"P3": _checklist, "P4a": _witnessed, "P4b": _timed, "P5": _duration, "P7": _batches, "P8": _exposure}
