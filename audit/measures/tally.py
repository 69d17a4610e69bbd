"""One share with everything around it: how many of how many, who stands apart, and whose records they are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import pandas as pd

from audit.measures.definitions import Shown
from audit.measures.strata import clustered, shown_by
from audit.stats.proportion import Proportion

NOTHING: Mapping[str, tuple[str, ...]] = MappingProxyType({})


@dataclass(frozen=True)
class Tally:
    """events of total. patients: behind the total. interval: clustered on the patient, None where too thin.

    keys: by name, the records behind each number: "event", "other" (of the total, without the event), and one name for
    each group that stands apart and is in neither.
    """

    code: str
    label: str
    events: int
    total: int
    patients: int
    interval: Proportion | None
    shown: Shown
    note: str
    keys: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: NOTHING)


def tally(
    code: str, label: str, units: pd.DataFrame, hit: Sequence[bool] | pd.Series, *, key: str,
    apart: Mapping[str, Sequence[str]] = NOTHING,
) -> Tally:  # fmt: skip
    """Counts one share.

    units: the denominator, one row per unit, with patient_key and the column named by `key`. hit: true or false per
    row. apart: keys of units outside the denominator, by the name of the reason.
    """
    hits = pd.Series(list(hit), index=units.index, dtype=bool)
    patients = int(units["patient_key"].nunique())
    shown = shown_by(len(units), patients)
    rated = shown in {Shown.FULL, Shown.HOLLOW}
    keys = {"event": tuple(units.loc[hits, key]), "other": tuple(units.loc[~hits, key])}
    return Tally(
        code, label, int(hits.sum()), len(units), patients,
        clustered(units, hits) if rated else None, shown, _note(shown, len(units)),
        MappingProxyType(keys | {name: tuple(found) for name, found in apart.items()}),
    )  # fmt: skip


def _note(shown: Shown, total: int) -> str:
    if shown is Shown.EMPTY:
        return "no cases"
    if shown is Shown.LISTED:
        return "no rate: too few"
    return "too few to judge" if shown is Shown.HOLLOW and total else ""
