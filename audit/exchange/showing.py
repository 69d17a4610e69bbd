"""A prepared export for the eyes of the lead: one real row before and after, and which rows are rarest. No Django."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from audit.exchange.columns import FIELDS, LEFT_OUT, Known
from audit.exchange.preparing import Prepared
from audit.measures.definitions import Outcome
from audit.measures.over_time import intervals_by_side
from clinic.vocabulary.procedure import TOES, Foot, Sex
from clinic.vocabulary.terms import label_of


@dataclass(frozen=True)
class Cell:
    """One thing of one row: in the record, in the file, and why. left_out: whether the file does not hold it."""

    title: str
    record: str
    file: str
    why: str
    left_out: bool = False

    @property
    def changed(self) -> bool:
        return self.left_out or self.record != self.file


def one_row(prepared: Prepared, place: int) -> list[Cell]:
    """One real row before and after. place: of the row in the raw rows."""
    before = prepared.raw.iloc[place]
    side = _side(prepared, str(before["side_key"]))
    stays = bool(prepared.protected.kept[place])
    after = prepared.protected.rows.loc[prepared.raw.index[place]] if stays else None
    found = [Cell(title, text, "", why, left_out=True) for title, text, why in _never(side)]
    told = _exactly(prepared, before, side)
    for field in FIELDS:
        if field.known is Known.NOBODY:
            found.append(Cell(field.title, "", "random" if stays else "", field.why, left_out=not stays))
            continue
        record = told.get(field.name, field.words(str(before[field.name])))
        file = field.words(str(after[field.name])) if after is not None else ""
        found.append(Cell(field.title, record, file, field.why, left_out=not stays))
    return found


def _side(prepared: Prepared, key: str) -> Mapping[str, Any]:
    sides = prepared.audit.cohort.sides
    return dict(sides[sides["side_key"] == key].iloc[0])


def _never(side: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """What the frames hold of the row and no file does."""
    return [
        ("Foot and toe", f"{label_of(Foot, side['foot'])}, {TOES[int(side['toe'])]}", LEFT_OUT["Foot and toe"]),
        ("Sex", label_of(Sex, side["sex"]), LEFT_OUT["Sex, illnesses, medicines"]),
        ("Operator", "on record", LEFT_OUT["Operator"]),
        ("Name, record number", "on record, not in the audit", LEFT_OUT["Name, date of birth, contact details"]),
        ("Notes, batches, photographs", "on record, not in the audit", LEFT_OUT["Notes"]),
    ]


def _exactly(prepared: Prepared, before: Mapping[str, Any], side: Mapping[str, Any]) -> dict[str, str]:
    """What the record holds more exactly than even the raw row: day, age, days of reviews."""
    day = pd.Timestamp(side["performed_on"])
    age = side["age_years"]
    found = {
        "audit_year": f"operated {day.day} {day:%b %Y}",
        "age_band": "not recorded" if pd.isna(age) else f"{age} years",
    }
    for outcome in (Outcome.ANY_REGROWTH, Outcome.SYMPTOMATIC_RECURRENCE):
        exact = intervals_by_side(prepared.audit.cohort, outcome)
        own = exact[exact["side_key"] == before["side_key"]]
        if len(own):
            left, right = float(own["left"].iloc[0]), float(own["right"].iloc[0])
            found |= {f"{outcome.value}_not_by_day": f"day {left:.0f}"} if left > 0 else {}
            found |= {f"{outcome.value}_by_day": f"day {right:.0f}"} if right < float("inf") else {}
    return found


def rarest(prepared: Prepared, number: int = 5) -> list[int]:
    """Places of the rows whose patients had the fewest others alike before anything was done, rarest first."""
    order = sorted(range(len(prepared.raw)), key=lambda place: (int(prepared.protected.alike[place]), place))
    return order[:number]
