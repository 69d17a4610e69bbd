"""Everything that one yearly report is made from, as frames without names, in an order that no database decides."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from audit.measures.afterwards import INCIDENTS
from audit.measures.columns import FINDINGS, SIDES, TOE_FINDINGS, Cohort, Column
from audit.measures.process import TOES
from audit.measures.visits import CONTACTS


@dataclass(frozen=True)
class Material:
    """cohort: the period. years: the period and the audit years before it. process, contacts, incidents: of the period.

    starts_month: in which the audit years begin.
    """

    cohort: Cohort
    years: Cohort
    process: pd.DataFrame
    contacts: pd.DataFrame
    incidents: pd.DataFrame
    starts_month: int


# The frames of a material with their columns, and what orders their rows.
FRAMES: Mapping[str, tuple[Mapping[str, Column], Sequence[str]]] = {
    "sides": (SIDES, ("side_key",)),
    "findings": (FINDINGS, ("side_key", "day", "review_key")),
    "toe_findings": (TOE_FINDINGS, ("toe_key", "day", "review_key")),
    "process": (TOES, ("toe_key",)),
    "contacts": (CONTACTS, ("contact_key",)),
    "incidents": (INCIDENTS, ("operation_key", "day", "kind", "harm", "incident_key")),
}


def within(years: Cohort, first: date, last: date) -> Cohort:
    """The operations of a cohort performed from the first to the last day, with their findings."""
    performed = pd.to_datetime(years.sides["performed_on"])
    sides = years.sides[performed.between(pd.Timestamp(first), pd.Timestamp(last))].reset_index(drop=True)
    return replace(
        years,
        performed_from=first,
        performed_to=last,
        sides=sides,
        findings=_of(years.findings, "side_key", sides),
        toe_findings=_of(years.toe_findings, "toe_key", sides),
    )


def ordered(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """The rows in the order of their keys, so that figures do not depend on how a database listed them."""
    return frame.sort_values(list(FRAMES[name][1]), kind="stable").reset_index(drop=True)


def in_order(years: Cohort) -> Cohort:
    """The cohort with the rows of its frames in the order of their keys."""
    return replace(
        years,
        sides=ordered(years.sides, "sides"),
        findings=ordered(years.findings, "findings"),
        toe_findings=ordered(years.toe_findings, "toe_findings"),
    )


def material(
    years: Cohort, *, first: date, last: date, process: pd.DataFrame, contacts: pd.DataFrame, incidents: pd.DataFrame,
    starts_month: int,
) -> Material:  # fmt: skip
    """Puts the frames in order and takes the period out of the years.

    years: a cohort that holds the period from the first to the last day.
    """
    neat = in_order(years)
    return Material(
        within(neat, first, last), neat, ordered(process, "process"), ordered(contacts, "contacts"),
        ordered(incidents, "incidents"), starts_month,
    )  # fmt: skip


def _of(frame: pd.DataFrame, key: str, sides: pd.DataFrame) -> pd.DataFrame:
    return frame[frame[key].isin(sides[key])].reset_index(drop=True)
