"""Pain scores at each point of the schedule. Knows no Django."""

from dataclasses import dataclass

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.tally import Tally, tally
from audit.measures.toes import toe_rows
from clinic.schedule import SCHEDULE, point_of

# A score that asks for a second look after the first week (common practice, no source).
NOTABLE = 4


@dataclass(frozen=True)
class PainAt:
    """Scores of one review point, the last one of each toe. Quartiles: 0 to 10, None without a score.

    notable: scored NOTABLE or more, of the scored; its keys name the toes not asked, too.
    """

    code: str
    label: str
    scored: int
    not_asked: int
    lower: float | None
    median: float | None
    upper: float | None
    highest: float | None
    notable: Tally


def pain(cohort: Cohort) -> tuple[PainAt, ...]:
    """Pain at each point of the schedule: reviews within the window of the point, the last of each toe."""
    toes = toe_rows(cohort)[["toe_key", "patient_key"]]
    rows = cohort.toe_findings[cohort.toe_findings["day"] > 0]
    points = [point_of(int(day)) for day in rows["day"]]
    codes = pd.Series([point.code if point else "" for point in points], index=rows.index, dtype=object)
    found = []
    for point in SCHEDULE:
        own = rows[(codes == point.code).to_numpy(bool)]
        # The last score of a toe; one that was not asked counts only if no other was.
        own = own.assign(scored=own["pain"].notna()).sort_values(["scored", "day", "review_key"], kind="stable")
        last = own.drop_duplicates("toe_key", keep="last").merge(toes, on="toe_key", how="left")
        found.append(_at(point.code, point.name, last))
    return tuple(found)


def _at(code: str, label: str, rows: pd.DataFrame) -> PainAt:
    asked = rows[rows["pain"].notna()]
    scores = asked["pain"].astype("float64")
    quartiles = [float(value) for value in scores.quantile([0.25, 0.5, 0.75])] if len(scores) else [None] * 3
    apart = {"not_asked": tuple(rows.loc[rows["pain"].isna(), "toe_key"])}
    notable = tally(code, f"Pain {NOTABLE} or more", asked, (scores >= NOTABLE).tolist(), key="toe_key", apart=apart)
    highest = float(scores.max()) if len(scores) else None
    return PainAt(code, label, len(asked), len(rows) - len(asked), *quartiles, highest, notable)
