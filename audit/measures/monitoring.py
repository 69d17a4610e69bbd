"""Operation days in order, for looking between two audits: did any side have the event? Knows no Django."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import TWELVE_MONTHS, Outcome, Status
from audit.measures.infection import LAST_DAY, Flag, toe_flags
from audit.measures.outcomes import side_states
from audit.measures.rows import dicts
from audit.stats.clustered import intraclass_correlation
from audit.stats.cusum import PatientDay, any_side_risk


class Watched(StrEnum):
    """What may be watched."""

    ANY_REGROWTH = "any_regrowth"
    SYMPTOMATIC_RECURRENCE = "symptomatic_recurrence"
    INFECTION = "infection"


LABELS = {
    Watched.ANY_REGROWTH: Outcome.ANY_REGROWTH.label,
    Watched.SYMPTOMATIC_RECURRENCE: Outcome.SYMPTOMATIC_RECURRENCE.label,
    Watched.INFECTION: "Infection by rule A",
}


@dataclass(frozen=True)
class OperationDay:
    """One attendance of one patient. units: sides, or toes for infection. event: whether any had it, None if unknown.

    toe_key: of the first toe with the event, else of the first.
    """

    performed_on: date
    units: int
    event: bool | None
    toe_key: str


@dataclass(frozen=True)
class WatchedUnits:
    """days: in the order of operation. matures: so many days after the operation the event is settled.

    correlation: of the units of one attendance, 0 where it cannot be estimated.
    """

    watched: Watched
    days: tuple[OperationDay, ...]
    matures: int
    correlation: float

    def patient_days(self, rate: float) -> list[PatientDay]:
        """What the sum chart takes; rate: accepted for one unit, between 0 and 1."""
        return [
            PatientDay(day.performed_on.toordinal(), any_side_risk(day.units, rate, self.correlation), day.event)
            for day in self.days
        ]


@dataclass(frozen=True)
class Month:
    """Sides operated on in one month whose outcome is due: how many are known."""

    first: date
    known: int
    eligible: int

    @property
    def share(self) -> float:
        return self.known / self.eligible


@dataclass(frozen=True)
class Exposure:
    performed_on: date
    seconds: float
    toe_key: str


def watched_units(cohort: Cohort, watched: Watched) -> WatchedUnits:
    """Every attendance with a matricectomy, or for infection every attendance, in the order of operation."""
    rows = _toe_rows(cohort) if watched is Watched.INFECTION else _side_rows(cohort, Outcome(watched.value))
    days = [_day(group) for _, group in rows.groupby("operation_key", sort=False)] if len(rows) else []
    matures = LAST_DAY if watched is Watched.INFECTION else TWELVE_MONTHS.closes_day
    days.sort(key=lambda day: (day.performed_on, day.toe_key))
    return WatchedUnits(watched, tuple(days), matures, _correlation(rows))


def completeness_by_month(cohort: Cohort) -> tuple[Month, ...]:
    """Sides with matricectomy whose outcome is due, by the month of operation; months without one are left out."""
    rows = _side_rows(cohort, Outcome.SYMPTOMATIC_RECURRENCE)
    due = rows[rows["due"].astype(bool)]
    if not len(due):
        return ()
    months = due.groupby(due["performed_on"].dt.to_period("M"))
    return tuple(
        Month(period.start_time.date(), int(group["known"].sum()), len(group)) for period, group in months
    )  # fmt: skip


def exposures(cohort: Cohort, *, technique: str, agent: str) -> tuple[Exposure, ...]:
    """Recorded exposure times of one technique and agent, in the order of operation."""
    sides = cohort.sides
    own = sides[(sides["technique"] == technique) & (sides["agent"] == agent) & sides["exposure_seconds"].notna()]
    own = own.sort_values(["performed_on", "side_key"], kind="stable")
    return tuple(
        Exposure(row["performed_on"].date(), float(row["exposure_seconds"]), str(row["toe_key"])) for row in dicts(own)
    )


def _side_rows(cohort: Cohort, outcome: Outcome) -> pd.DataFrame:
    """One row per side with matricectomy. due: the window has closed, nothing else ended it. known: event or clear."""
    sides = cohort.sides[cohort.sides["matrix_destroyed"].astype(bool)]
    states = side_states(cohort, outcome)
    status = [states[str(key)].status for key in sides["side_key"]]
    settled = {Status.EVENT, Status.CLEAR}
    return pd.DataFrame(
        {
            "operation_key": sides["operation_key"].to_numpy(),
            "performed_on": pd.to_datetime(sides["performed_on"]).to_numpy(),
            "toe_key": sides["toe_key"].to_numpy(),
            "event": [one is Status.EVENT for one in status],
            "known": [one in settled for one in status],
            "due": [one in settled | {Status.LOST} for one in status],
        }
    )


def _toe_rows(cohort: Cohort) -> pd.DataFrame:
    flags = toe_flags(cohort)
    first = cohort.sides.drop_duplicates("toe_key").set_index("toe_key")
    return pd.DataFrame(
        {
            "operation_key": first.loc[flags["toe_key"], "operation_key"].to_numpy(),
            "performed_on": pd.to_datetime(first.loc[flags["toe_key"], "performed_on"]).to_numpy(),
            "toe_key": flags["toe_key"].to_numpy(),
            "event": flags[Flag.RULE_A.value].to_numpy(),
            "known": (flags["standing"] == "contacted").to_numpy(),
            "due": (flags["standing"] != "pending").to_numpy(),
        }
    )


def _day(rows: pd.DataFrame) -> OperationDay:
    """An event of any unit is known early; that none had it only when all are known."""
    hits = rows[rows["event"] & rows["known"]]
    event = True if len(hits) else (False if bool(rows["known"].all()) else None)
    keys = hits["toe_key"] if len(hits) else rows["toe_key"]
    return OperationDay(pd.Timestamp(rows["performed_on"].iloc[0]).date(), len(rows), event, str(keys.iloc[0]))


def _correlation(rows: pd.DataFrame) -> float:
    known = rows[rows["known"].astype(bool)]
    if not len(known):
        return 0.0
    groups = known.groupby("operation_key")["event"]
    found = intraclass_correlation(_whole(groups.sum()), _whole(groups.size()))
    return min(max(found.value or 0.0, 0.0), 0.99)


def _whole(values: pd.Series) -> Sequence[int]:
    return [int(value) for value in values]
