"""From the frames of a signed audit to the rows of a peer set, before anything is protected. Knows no Django.

The keys of the practice stand beside the rows here, so that patients can be counted; `release` leaves them behind.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from audit.exchange.columns import BY_NAME, DAY_LIMITS
from audit.exchange.words import AgeBand, EarlyContact, Exposure, YesNo
from audit.measures.columns import Cohort
from audit.measures.definitions import HowKnown, Outcome, Status, Unit
from audit.measures.infection import Flag, toe_flags
from audit.measures.outcomes import unit_frame
from audit.measures.over_time import intervals_by_side
from clinic.vocabulary.procedure import Agent, StrengthBasis
from clinic.vocabulary.review import Healing

KEYS = ("side_key", "toe_key", "patient_key")
_SAME_NAME = ("technique", "side", "agent", "curettage", "lavage", "infection_at_operation")
_OPEN = {Healing.MOIST.value, Healing.NOT_HEALING.value}


def audit_year(performed_from: date, performed_to: date) -> str:
    """The audited period as it stands in every row: "2023-04/2024-03"."""
    return f"{performed_from:%Y-%m}/{performed_to:%Y-%m}"


def raw_rows(cohort: Cohort) -> pd.DataFrame:
    """One row of text per treated side, in the order of the cohort, with the practice's own keys beside (KEYS).

    cohort: frames as declared in `measures.columns`. What an older frame lacks reads "not recorded".
    An empty cell is an empty text. Codes for row, patient and toe are not there yet.
    """
    sides = cohort.sides.reset_index(drop=True)
    rows = pd.DataFrame({key: sides[key].astype(str) for key in KEYS})
    rows["audit_year"] = audit_year(cohort.performed_from, cohort.performed_to)
    rows["age_band"] = _age_bands(sides)
    for name in _SAME_NAME:
        rows[name] = sides[name].astype(str)
    rows["matrix_destroyed"] = _yes_no(sides["matrix_destroyed"])
    rows = rows.join(_dose(sides))
    for outcome in Outcome:
        rows = rows.join(_outcome(cohort, outcome))
    lost = (rows[[outcome.value for outcome in Outcome]] == Status.LOST.value).any(axis=1)
    rows["loss_reason"] = sides["loss_reason"].astype(str).where(lost, "")
    for outcome in (Outcome.ANY_REGROWTH, Outcome.SYMPTOMATIC_RECURRENCE):
        rows = rows.join(_interval(cohort, rows["side_key"], outcome))
    rows = rows.join(_healing(cohort, rows["toe_key"]))
    rows = rows.join(_infection(cohort, rows["toe_key"]))
    return rows[[*KEYS, *(name for name in BY_NAME if name in rows.columns)]]


def _yes_no(values: pd.Series) -> pd.Series:
    return values.astype(bool).map({True: YesNo.YES.value, False: YesNo.NO.value})


def _age_bands(sides: pd.DataFrame) -> pd.Series:
    """One band a patient, from the first operation: two bands for one person would tell a birthday."""
    order = sides.sort_values("performed_on", kind="stable")
    first = order.groupby("patient_key", sort=False)["age_years"].first()
    bands = {key: AgeBand.of(None if pd.isna(age) else float(age)).value for key, age in first.items()}
    return sides["patient_key"].map(bands)


def _dose(sides: pd.DataFrame) -> pd.DataFrame:
    """Agent, strength and time; what the frames do not hold is not recorded."""
    nothing = pd.Series(np.nan, index=sides.index)
    takes = sides["takes_agent"].astype(bool)
    seconds = sides["exposure_seconds"].astype("float64")
    strength = pd.to_numeric(sides.get("strength_percent", nothing)).astype("float64")
    basis = sides.get("strength_basis", nothing).astype(object).fillna(StrengthBasis.NOT_RECORDED.value).astype(str)
    known = takes & seconds.notna()
    exposure = pd.Series(Exposure.NOT_APPLICABLE.value, index=sides.index)
    exposure[takes] = Exposure.NOT_RECORDED.value
    exposure[known] = Exposure.RECORDED.value
    used = takes & (sides["agent"] != Agent.NONE)
    return pd.DataFrame(
        {
            "strength_percent": _numbers(strength.where(used), digits=1),
            "strength_basis": basis.where(used, StrengthBasis.NOT_APPLICABLE.value),
            "exposure": exposure,
            "applications": _numbers(pd.to_numeric(sides.get("applications", nothing)).where(known)),
            "seconds_each": _numbers(pd.to_numeric(sides.get("seconds_each", nothing)).where(known)),
            "exposure_seconds": _numbers(seconds.where(known)),
        }
    )


def _numbers(values: pd.Series, digits: int = 0) -> pd.Series:
    """Numbers as text with a dot; what is missing or 0 is empty."""
    return pd.Series(
        ["" if pd.isna(value) or value <= 0 else f"{float(value):.{digits}f}" for value in values], index=values.index
    )


def _outcome(cohort: Cohort, outcome: Outcome) -> pd.DataFrame:
    found = unit_frame(cohort, outcome, Unit.SIDE)
    name = outcome.value
    return pd.DataFrame(
        {
            name: found["status"].astype(str),
            f"{name}_known_by": found["source"].astype(str),
            f"{name}_examined": _yes_no(found["examined"] & (found["source"] != HowKnown.NOT_APPLICABLE)),
            f"{name}_late": _yes_no(found["late_event"]),
        }
    )


def _interval(cohort: Cohort, sides: pd.Series, outcome: Outcome) -> pd.DataFrame:
    found = intervals_by_side(cohort, outcome).set_index("side_key")
    left, right = sides.map(found["left"]), sides.map(found["right"])
    return pd.DataFrame(
        {
            f"{outcome.value}_not_by_day": [_floor(day) for day in left],
            f"{outcome.value}_by_day": [_ceiling(day) for day in right],
        },
        index=sides.index,
    )


def _floor(day: Any) -> str:
    """The last limit that the day has reached; nothing where that is day 0 or there is no day."""
    reached = [] if pd.isna(day) else [limit for limit in DAY_LIMITS[1:] if limit <= day]
    return str(reached[-1]) if reached else ""


def _ceiling(day: Any) -> str:
    """The first limit by which the day has passed; beyond the last limit nothing is told."""
    if pd.isna(day) or np.isinf(day):
        return ""
    return next((str(limit) for limit in DAY_LIMITS if day <= limit), "")


def _healing(cohort: Cohort, toes: pd.Series) -> pd.DataFrame:
    """When each toe was last seen open before it was first seen healed, and first seen healed."""
    open_until: dict[str, float] = {}
    healed: dict[str, float] = {}
    seen = cohort.toe_findings.sort_values("day", kind="stable")
    for toe, day, state in zip(seen["toe_key"], seen["day"], seen["healing"], strict=True):
        if state == Healing.DRY and toe not in healed:
            healed[toe] = float(day)
        elif state in _OPEN and toe not in healed:
            open_until[toe] = float(day)
    return pd.DataFrame(
        {
            "healed_not_by_day": [_floor(open_until.get(toe, np.nan)) for toe in toes],
            "healed_by_day": [_ceiling(healed.get(toe, np.nan)) for toe in toes],
        },
        index=toes.index,
    )


def _infection(cohort: Cohort, toes: pd.Series) -> pd.DataFrame:
    flags: dict[str, Mapping[str, Any]] = {row["toe_key"]: row for row in toe_flags(cohort).to_dict("records")}
    contact = [flags[toe]["standing"] for toe in toes]
    found = {"early_contact": contact}
    for flag in Flag:
        found[f"infection_{flag.value}"] = [
            _flag_word(flags[toe][flag.value]) if flags[toe]["standing"] == EarlyContact.CONTACTED else ""
            for toe in toes
        ]
    return pd.DataFrame(found, index=toes.index)


def _flag_word(raised: bool) -> str:
    return YesNo.YES.value if raised else YesNo.NO.value
