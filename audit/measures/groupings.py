"""Counts by toe and by audit year. Knows no Django."""

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import Outcome, Unit
from audit.measures.outcomes import unit_frame
from audit.measures.strata import Count, count, headline_units
from audit.measures.years import year_label, year_of
from clinic.vocabulary.procedure import TOES


def by_toe(cohort: Cohort, units: pd.DataFrame) -> tuple[Count, ...]:
    """A count per toe of the matricectomy units, hallux first; only toes that occur.

    units: one row per unit, as `outcomes.unit_frame` gives them for the cohort.
    """
    destroyed = headline_units(units)
    number = dict(zip(cohort.sides["side_key"], cohort.sides["toe"], strict=True))
    toes = [frozenset(int(number[key]) for key in keys) for keys in destroyed["side_keys"]]
    alike = pd.Series(
        [next(iter(each)) if len(each) == 1 else 0 for each in toes], index=destroyed.index, dtype="int64"
    )
    rows = [
        count(destroyed[alike == toe], code=f"toe_{toe}", label=TOES[toe]) for toe in TOES if (alike == toe).any()
    ]  # fmt: skip
    if (alike == 0).any():
        rows.append(count(destroyed[alike == 0], code="several", label="Several toes"))
    return tuple(rows)


def by_year(
    years: Cohort, outcome: Outcome, unit: Unit, starts_month: int, units: pd.DataFrame | None = None
) -> tuple[Count, ...]:
    """A count per audit year of operation, oldest first; every year between the first and the last has a line.

    years: a cohort that may reach back over several audit years. starts_month: the month in which they begin.
    units: those of the years, where they are known already.
    """
    frame = unit_frame(years, outcome, unit) if units is None else units
    destroyed = headline_units(frame)
    performed = dict(zip(years.sides["side_key"], pd.to_datetime(years.sides["performed_on"]), strict=True))
    own = [year_of(performed[keys[0]].date(), starts_month) for keys in destroyed["side_keys"]]
    placed = pd.Series(own, index=destroyed.index, dtype="int64")
    if not len(placed):
        return ()
    return tuple(
        count(destroyed[placed == year].drop_duplicates("unit_key"), code=f"year_{year}", label=year_label(year))
        for year in range(int(placed.min()), int(placed.max()) + 1)
    )
