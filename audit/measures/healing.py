"""When wounds healed, known only to lie between two looks; and whether they healed in time. Knows no Django."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.strata import technique_label
from audit.measures.tally import Tally, tally
from audit.measures.toes import places_of, toe_rows
from audit.stats.intervals import from_findings
from audit.stats.quantiles import DayOfShare, days_of_shares
from clinic.vocabulary.procedure import Agent, Technique
from clinic.vocabulary.review import Healing

PARTIAL_DAYS, TOTAL_DAYS = 56, 84
QUARTILES = (0.25, 0.5, 0.75)
_HEALED = {Healing.DRY.value}
_OPEN = {Healing.MOIST.value, Healing.NOT_HEALING.value}
Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True)
class HealingGroup:
    """toes: of the group; seen: with a look that tells anything; healed: seen healed.

    quartiles: lower, median, upper, from the days between which it must have happened. first_seen: the same of the days
    on which it was first seen healed, so none of them too early; None where nobody was.
    """

    code: str
    label: str
    toes: int
    seen: int
    healed: int
    patients: int
    quartiles: tuple[DayOfShare, ...]
    first_seen: tuple[float, float, float] | None
    keys: tuple[str, ...]


@dataclass(frozen=True)
class HealingTimes:
    """Healing of one cohort. in_time: healed by day 56 (partial) or 84 (total) of those of whom it is known."""

    groups: tuple[HealingGroup, ...]
    in_time: Tally


def healing(cohort: Cohort) -> HealingTimes:
    """Healing times by technique and agent, and the share healed in time.

    A toe is healed from the first look that found it dry; before it, the last look that found it open. A look that
    could not tell says nothing. Follow-up ends with re-operation, amputation or death.
    """
    toes = toe_rows(cohort)
    left, right = _intervals(cohort, toes)
    every = np.ones(len(toes), dtype=bool)
    groups = [_group("all", "All nail procedures", toes, left, right, every)]
    for technique in Technique:
        for agent in Agent:
            own = ((toes["technique"] == technique.value) & (toes["agent"] == agent.value)).to_numpy(bool)
            if own.any():
                label = technique_label(technique, agent)
                groups.append(_group(f"{technique.value}:{agent.value}", label, toes, left, right, own))
    return HealingTimes(tuple(groups), _in_time(toes, left, right))


def _intervals(cohort: Cohort, toes: pd.DataFrame) -> tuple[Numbers, Numbers]:
    """For each toe the last day seen open and the first day seen healed."""
    rows = cohort.toe_findings
    places = places_of(toes)
    tells = rows["healing"].isin(_HEALED | _OPEN) & (rows["day"] > 0)
    rows = rows[tells.to_numpy(bool)]
    side = np.array([places[str(key)] for key in rows["toe_key"]], dtype=np.int64)
    day = rows["day"].to_numpy(np.float64)
    healed = rows["healing"].isin(_HEALED).to_numpy(bool)
    found = from_findings(side, day, healed, len(toes), toes["ended_day"].to_numpy(np.float64))
    return found.left, found.right


def _group(
    code: str, label: str, toes: pd.DataFrame, left: Numbers, right: Numbers, own: npt.NDArray[np.bool_]
) -> HealingGroup:
    tells = own & ((left > 0) | np.isfinite(right))
    patients = tuple(toes["patient_key"].to_numpy(str)[own])
    quartiles = _remembered(patients, left[own].tobytes(), right[own].tobytes()) if tells.any() else ()
    keys = tuple(toes["toe_key"].to_numpy(str)[tells])
    return HealingGroup(
        code, label, int(own.sum()), int(tells.sum()), int(np.isfinite(right[own]).sum()),
        int(toes["patient_key"][tells].nunique()), quartiles, _first_seen(right[own]), keys,
    )  # fmt: skip


def _first_seen(right: Numbers) -> tuple[float, float, float] | None:
    seen = right[np.isfinite(right)]
    if not len(seen):
        return None
    low, middle, high = (float(day) for day in np.quantile(seen, QUARTILES))
    return low, middle, high


@lru_cache(maxsize=64)
def _remembered(patients: tuple[str, ...], left: bytes, right: bytes) -> tuple[DayOfShare, ...]:
    return days_of_shares(np.array(patients), np.frombuffer(left), np.frombuffer(right), QUARTILES)


def _in_time(toes: pd.DataFrame, left: Numbers, right: Numbers) -> Tally:
    """A toe seen open before and healed after the last day stands apart: whether it was in time was not seen."""
    until = np.where(toes["whole_nail"].to_numpy(bool), TOTAL_DAYS, PARTIAL_DAYS).astype(np.float64)
    due = toes["age_days"].to_numpy(np.float64) >= until
    yes, no = due & (right <= until), due & (left >= until)
    known = yes | no
    keys = toes["toe_key"].to_numpy(str)
    between = due & ~known & np.isfinite(right)
    apart = {"between": _of(keys, between), "unknown": _of(keys, due & ~known & ~between), "pending": _of(keys, ~due)}
    label = f"Healed by day {PARTIAL_DAYS} (partial) or {TOTAL_DAYS} (total)"
    return tally("healed_in_time", label, toes[known], yes[known].tolist(), key="toe_key", apart=apart)


def _of(keys: npt.NDArray[np.str_], wanted: npt.NDArray[np.bool_]) -> Sequence[str]:
    return [str(key) for key in keys[wanted]]
