"""Frames as plain rows and back, without loss: what a snapshot keeps of the records it was counted from."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from hashlib import sha256
from typing import Any

import pandas as pd

from audit.measures.columns import Cohort, Column, Holds, check
from audit.measures.material import FRAMES, Material, material

Plain = dict[str, Any]


def canonical(value: Any) -> bytes:
    """One text for one value, whatever made it: sorted names, no blanks, numbers in full, UTF-8."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def checksum(value: bytes) -> str:
    return sha256(value).hexdigest()


def material_as_plain(found: Material) -> Plain:
    """The frames with their declared columns, and the period and bands they were counted by."""
    years = found.years
    frames = {
        "sides": years.sides, "findings": years.findings, "toe_findings": years.toe_findings, "process": found.process,
        "contacts": found.contacts, "incidents": found.incidents,
    }  # fmt: skip
    return {
        "practice": years.practice_code,
        "years_from": years.performed_from.isoformat(),
        "performed_from": found.cohort.performed_from.isoformat(),
        "performed_to": found.cohort.performed_to.isoformat(),
        "as_of": years.as_of.isoformat(),
        "bands": list(years.bands),
        "starts_month": found.starts_month,
        "frames": {name: frame_as_plain(frame, FRAMES[name][0]) for name, frame in frames.items()},
    }


def material_of(stored: Plain) -> Material:
    """The material that was stored; refuses with ValueError what could not be counted honestly."""
    frames = {name: frame_of(stored["frames"][name], FRAMES[name][0]) for name in FRAMES}
    last = date.fromisoformat(stored["performed_to"])
    years = Cohort(
        practice_code=stored["practice"],
        performed_from=date.fromisoformat(stored["years_from"]),
        performed_to=last,
        as_of=date.fromisoformat(stored["as_of"]),
        sides=frames["sides"],
        findings=frames["findings"],
        toe_findings=frames["toe_findings"],
        bands=tuple(stored["bands"]),
    )
    check(years)
    return material(
        years, first=date.fromisoformat(stored["performed_from"]), last=last, process=frames["process"],
        contacts=frames["contacts"], incidents=frames["incidents"], starts_month=stored["starts_month"],
    )  # fmt: skip


def frame_as_plain(frame: pd.DataFrame, columns: Mapping[str, Column]) -> Plain:
    """The declared columns as lists of rows; other columns stay out."""
    cells = [[_cell(value, column) for value in frame[name]] for name, column in columns.items()]
    return {"columns": list(columns), "rows": [list(row) for row in zip(*cells, strict=True)]}


def frame_of(stored: Plain, columns: Mapping[str, Column]) -> pd.DataFrame:
    """The frame of stored rows. A column that is declared today but was not then is empty.

    Refuses with ValueError a row that has not as many cells as there are columns.
    """
    names = list(stored["columns"])
    for place, row in enumerate(stored["rows"]):
        if len(row) != len(names):
            raise ValueError(f"row {place} has {len(row)} cells, not {len(names)}")
    frame = pd.DataFrame(stored["rows"], columns=names, dtype=object)
    found = {name: _column(frame[name] if name in names else _empty(frame), column) for name, column in columns.items()}
    return pd.DataFrame(found, index=frame.index)


def column_words(columns: Mapping[str, Column]) -> Plain:
    """What each stored column means, for whoever opens a snapshot."""
    return {name: {**asdict(column), "holds": column.holds.value, "terms": ""} for name, column in columns.items()}


def _cell(value: Any, column: Column) -> Any:
    if value is None or pd.isna(value):
        return None
    if column.holds is Holds.DAY:
        return pd.Timestamp(value).date().isoformat()
    if column.holds is Holds.TRUTH:
        return bool(value)
    if column.holds is Holds.WHOLE:
        return int(value)
    return float(value) if column.holds is Holds.NUMBER else str(value)


def _column(values: pd.Series, column: Column) -> pd.Series:
    if column.holds is Holds.DAY:
        return pd.to_datetime(values)
    if column.holds is Holds.TRUTH:
        return values.fillna(False).astype(bool)
    if column.holds is Holds.NUMBER:
        return values.astype("float64")
    if column.holds is Holds.WHOLE:
        return values.astype("Int64") if column.may_be_missing else values.astype("int64")
    return values


def _empty(frame: pd.DataFrame) -> pd.Series:
    return pd.Series([None] * len(frame), index=frame.index, dtype=object)
