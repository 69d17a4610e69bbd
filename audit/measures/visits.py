"""Which planned looks took place and who looked, and who came unasked. Knows no Django."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

import pandas as pd

from audit.measures.columns import Cohort, Column, Holds
from audit.measures.definitions import HowKnown
from audit.measures.follow_up import Part
from audit.measures.outcomes import how_known, was_examined
from audit.measures.tally import Tally, tally
from audit.measures.toes import toe_rows
from clinic.schedule import SCHEDULE, ReviewPoint
from clinic.vocabulary import review
from clinic.vocabulary.review import ContactResult, Origin

LAST_DAY = 30

CONTACTS: Mapping[str, Column] = {
    "contact_key": Column("The entry of the contact log", Holds.KEY),
    "operation_key": Column("The operation", Holds.KEY),
    "day": Column("When", Holds.WHOLE, unit="days since operation"),
    "channel": Column("How", Holds.CODE, terms=review.ContactChannel),
    "result": Column("What came of it", Holds.CODE, terms=review.ContactResult),
}


@dataclass(frozen=True)
class PointDone:
    """One review point. done: of the toes whose window has closed. by_source: the done by how the toe was seen."""

    code: str
    label: str
    done: Tally
    by_source: tuple[Part, ...]


def reviews_done(cohort: Cohort) -> tuple[PointDone, ...]:
    """For each point of the schedule, the toes seen within its window.

    Due: the window has closed by the cut-off, and no death, amputation or re-operation came before it opened.
    One with several looks is counted by the last, an examination rather than a report.
    """
    toes = toe_rows(cohort)
    looks = _looks(cohort)
    return tuple(_point(point, toes, looks) for point in SCHEDULE)


def _looks(cohort: Cohort) -> pd.DataFrame:
    """One row per toe and review, with how the toe was seen."""
    of_side = cohort.sides.set_index("side_key")["toe_key"]
    rows = cohort.findings
    found = pd.DataFrame(
        {
            "toe_key": rows["side_key"].map(of_side).astype(object),
            "review_key": rows["review_key"],
            "day": rows["day"],
            "origin": rows["origin"],
            "source": [how_known(*pair).value for pair in zip(rows["observer"], rows["means"], strict=True)],
            "examined": [was_examined(*pair) for pair in zip(rows["observer"], rows["means"], strict=True)],
        }
    )
    return found.drop_duplicates(["toe_key", "review_key"])


def _point(point: ReviewPoint, toes: pd.DataFrame, looks: pd.DataFrame) -> PointDone:
    ended = (toes["ended_day"] <= point.opens_day).to_numpy(bool)
    due = (toes["age_days"] >= point.closes_day).to_numpy(bool) & ~ended
    inside = looks[looks["day"].between(point.opens_day, point.closes_day)]
    best = inside.sort_values(["day", "examined", "review_key"], kind="stable").drop_duplicates("toe_key", keep="last")
    source = best.set_index("toe_key")["source"]
    own = toes[due]
    seen = own["toe_key"].isin(source.index)
    apart = {"pending": tuple(toes.loc[~due & ~ended, "toe_key"]), "ended": tuple(toes.loc[ended, "toe_key"])}
    done = tally(point.code, point.name, own, seen.tolist(), key="toe_key", apart=apart)
    how = own.loc[seen, "toe_key"].map(source)
    parts = [
        Part(term.value, term.label, int((how == term.value).sum()), tuple(own.loc[seen, "toe_key"][how == term.value]))
        for term in HowKnown
        if term not in {HowKnown.NOT_APPLICABLE, HowKnown.OPERATION_RECORD}
    ]
    return PointDone(point.code, point.name, done, tuple(parts))


def unplanned(cohort: Cohort, contacts: pd.DataFrame) -> Tally:
    """Operations after which the patient came or called unasked within 30 days.

    contacts: columns as in CONTACTS. A review that the patient asked for on day 1 to 30, or a contact on day 0 to 30
    that reports a problem. Per operation, because a call is about the attendance; the keys are those of toes.
    """
    toes = toe_rows(cohort)
    operations = toes.drop_duplicates("operation_key")
    looks = _looks(cohort).merge(toes[["toe_key", "operation_key"]], on="toe_key", how="left")
    came = looks[(looks["origin"] == Origin.PATIENT.value) & looks["day"].between(1, LAST_DAY)]["operation_key"]
    told = contacts[(contacts["result"] == ContactResult.PROBLEM.value) & contacts["day"].between(0, LAST_DAY)]
    unasked = set(came) | set(told["operation_key"])
    last = pd.Timestamp(cohort.as_of - timedelta(days=LAST_DAY))
    mature = (pd.to_datetime(operations["performed_on"]) <= last).to_numpy(bool)
    own = operations[mature]
    apart = {"pending": tuple(operations.loc[~mature, "toe_key"])}
    hit = own["operation_key"].isin(unasked)
    return tally(
        "unplanned", f"Unplanned contact within {LAST_DAY} days", own, hit.tolist(), key="toe_key", apart=apart
    )
