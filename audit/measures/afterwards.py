"""What patients said of the result, and what went wrong at operations. Knows no Django."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from audit.measures.columns import Cohort, Column, Holds
from audit.measures.tally import Tally, tally
from audit.measures.toes import toe_rows
from clinic.vocabulary import procedure
from clinic.vocabulary.procedure import EventKind, Harm
from clinic.vocabulary.review import Satisfaction

_CONTENT = {Satisfaction.VERY_SATISFIED.value, Satisfaction.SATISFIED.value}
SERIOUS = {Harm.MODERATE.value, Harm.SEVERE.value}
# Serious whatever harm followed, unless it was noticed before it reached the patient.
ALWAYS_SERIOUS = {EventKind.WRONG_SITE.value, EventKind.TOXICITY_SIGNS.value, EventKind.ALLERGIC_SIGNS.value}

INCIDENTS: Mapping[str, Column] = {
    "incident_key": Column("The event, numbered in the order of entry", Holds.KEY),
    "operation_key": Column("The operation", Holds.KEY),
    "toe_key": Column("The nail procedure; the first of the operation where none is named", Holds.KEY),
    "day": Column("When it happened", Holds.WHOLE, unit="days since operation"),
    "kind": Column("What happened", Holds.CODE, terms=procedure.EventKind),
    "harm": Column("Harm", Holds.CODE, terms=procedure.Harm),
    "reviewed": Column("Whether the duty of candour was completed", Holds.TRUTH),
}


def satisfaction(cohort: Cohort) -> Tally:
    """Satisfied or very satisfied, of the toes whose patient answered; the last answer counts."""
    toes = toe_rows(cohort)
    rows = cohort.toe_findings[cohort.toe_findings["satisfaction"] != Satisfaction.NOT_ASKED.value]
    last = rows.sort_values(["day", "review_key"], kind="stable").drop_duplicates("toe_key", keep="last")
    said = last.set_index("toe_key")["satisfaction"]
    answered = toes["toe_key"].isin(said.index)
    own = toes[answered]
    apart = {"not_asked": tuple(toes.loc[~answered, "toe_key"])}
    hit = own["toe_key"].map(said).isin(_CONTENT)
    return tally("satisfied", "Satisfied or very satisfied", own, hit.tolist(), key="toe_key", apart=apart)


@dataclass(frozen=True)
class IncidentRow:
    kind: EventKind
    harm: Harm
    number: int
    reviewed: int
    keys: tuple[str, ...]


@dataclass(frozen=True)
class Incidents:
    """Events at operations of the period.

    serious: with moderate or severe harm, or a wrong site or signs of toxicity or severe allergy that reached the
    patient. reviewed: of these, with the duty of candour completed.
    """

    operations: int
    rows: tuple[IncidentRow, ...]
    serious: int
    reviewed: int
    serious_keys: tuple[str, ...]


def incidents(cohort: Cohort, events: pd.DataFrame) -> Incidents:
    """Events by kind and harm. events: columns as in INCIDENTS."""
    rows = []
    for kind in EventKind:
        for harm in Harm:
            own = events[(events["kind"] == kind.value) & (events["harm"] == harm.value)]
            if len(own):
                rows.append(IncidentRow(kind, harm, len(own), int(own["reviewed"].sum()), tuple(own["toe_key"])))
    reached = events["harm"] != Harm.NEAR_MISS.value
    serious = events[events["harm"].isin(SERIOUS) | (events["kind"].isin(ALWAYS_SERIOUS) & reached)]
    return Incidents(
        int(cohort.sides["operation_key"].nunique()), tuple(rows), len(serious), int(serious["reviewed"].sum()),
        tuple(serious["toe_key"]),
    )  # fmt: skip
