"""From operated to analysed: every unit of the period stands in exactly one place. Knows no Django."""

from dataclasses import dataclass

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import Status
from audit.measures.strata import headline_units


@dataclass(frozen=True)
class FlowStep:
    """One box of the flow. level: 0 for the main line, 1 for what leaves it. keys: of the units."""

    code: str
    label: str
    units: int
    patients: int
    level: int
    keys: tuple[str, ...]


@dataclass(frozen=True)
class Flow:
    """operations, toes, patients: of the period. steps: units, each level-1 step leaving the step above it."""

    operations: int
    toes: int
    sides: int
    patients: int
    steps: tuple[FlowStep, ...]


_LEAVES = (
    (Status.PENDING, "Outcome window still open"),
    (Status.CENSORED_DEATH, "Died before the window opened"),
    (Status.CENSORED_REOPERATION, "Re-operated before the outcome was known"),
    (Status.CENSORED_AMPUTATION, "Toe amputated before the outcome was known"),
)


def flow(cohort: Cohort, units: pd.DataFrame) -> Flow:
    """The flow of the units of the headline: operated, with matricectomy, eligible, known.

    units: one row per unit, as `outcomes.unit_frame` gives them for the cohort.
    """
    sides = cohort.sides
    headline = headline_units(units)
    without = units[~units["matricectomy"]]
    mature = headline[headline["status"].isin([Status.EVENT, Status.CLEAR, Status.LOST])]
    lost = mature[mature["status"] == Status.LOST]
    known = mature[mature["status"] != Status.LOST]
    steps = [
        _step("operated", "Operated", units, 0),
        _step("no_matricectomy", "Without matricectomy, counted apart", without, 1),
        _step("matricectomy", "With matricectomy", headline, 0),
        *(_step(status.value, label, headline[headline["status"] == status], 1) for status, label in _LEAVES),
        _step("eligible", "Eligible: window closed", mature, 0),
        _step("lost", "Lost to follow-up", lost, 1),
        _step("ascertained", "Outcome known and analysed", known, 0),
    ]
    return Flow(
        int(sides["operation_key"].nunique()), int(sides["toe_key"].nunique()), len(sides),
        int(sides["patient_key"].nunique()), tuple(steps),
    )  # fmt: skip


def _step(code: str, label: str, units: pd.DataFrame, level: int) -> FlowStep:
    # A patient with both kinds of operation stands in two rows, but was operated on as one.
    keys = tuple(dict.fromkeys(units["unit_key"]))
    return FlowStep(code, label, len(keys), int(units["patient_key"].nunique()), level, keys)
