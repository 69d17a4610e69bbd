"""The toes of a cohort: one row each, and when follow-up of each ended. Knows no Django."""

from collections.abc import Mapping
from datetime import timedelta

import numpy as np
import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.outcomes import NEVER
from clinic.vocabulary.procedure import Technique

TOTAL = {Technique.TNA_CHEMICAL.value, Technique.TNA_ONLY.value, Technique.MATRIX_EXCISION.value}


def toe_rows(cohort: Cohort) -> pd.DataFrame:
    """One row per nail procedure, in the order of the cohort.

    Columns of SIDES that are the same on all sides of a toe, and: age_days, days from operation to cut-off;
    ended_day, when re-operation of a side, amputation or death ended follow-up, infinity if nothing did;
    whole_nail, whether the whole plate was removed.
    """
    sides = cohort.sides
    first = sides.drop_duplicates("toe_key").set_index("toe_key", drop=False)
    ends = sides[["died_day", "reoperated_day", "amputated_day"]].min(axis=1, skipna=True)
    ended = ends.groupby(sides["toe_key"]).min() if len(sides) else pd.Series(dtype="float64")
    performed = pd.to_datetime(first["performed_on"])
    return first.assign(
        age_days=(pd.Timestamp(cohort.as_of) - performed).dt.days.astype("float64"),
        ended_day=ended.reindex(first.index).fillna(NEVER).astype("float64"),
        whole_nail=first["technique"].isin(TOTAL).astype(bool),
    ).reset_index(drop=True)


def places_of(toes: pd.DataFrame) -> Mapping[str, int]:
    """The row of each toe."""
    return {str(key): place for place, key in enumerate(toes["toe_key"])}


def last_operated(cohort: Cohort, days: int) -> pd.Timestamp:
    """The last day of operation that lies at least so many days before the cut-off."""
    return pd.Timestamp(cohort.as_of - timedelta(days=days))


def as_days(values: pd.Series) -> np.ndarray:
    return values.to_numpy(np.float64)
