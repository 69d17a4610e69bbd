"""What changed in the records since a snapshot was taken, row by row, and which figures that moves."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from audit.measures.material import FRAMES

Plain = dict[str, Any]
# What names a row of each frame, whatever its values.
ROW_KEYS: Mapping[str, tuple[str, ...]] = {
    "sides": ("side_key",),
    "findings": ("side_key", "review_key"),
    "toe_findings": ("toe_key", "review_key"),
    "process": ("toe_key",),
    "contacts": ("contact_key",),
    "incidents": ("incident_key",),
}
FRAME_WORDS: Mapping[str, str] = {
    "sides": "treated side",
    "findings": "finding at a side",
    "toe_findings": "finding at a toe",
    "process": "record of the operation",
    "contacts": "contact log",
    "incidents": "event",
}


@dataclass(frozen=True)
class CellChange:
    column: str
    meaning: str
    then: Any
    now: Any


@dataclass(frozen=True)
class RowChange:
    """One row that differs. kind: "changed", "added" or "gone". values: the row as it stands, or stood."""

    frame: str
    kind: str
    key: tuple[str, ...]
    cells: tuple[CellChange, ...]
    values: Mapping[str, Any]

    @property
    def what(self) -> str:
        return FRAME_WORDS[self.frame]


@dataclass(frozen=True)
class FigureChange:
    """One criterion whose counted numbers differ."""

    code: str
    label: str
    then: str
    now: str


def changed_rows(then: Plain, now: Plain) -> tuple[RowChange, ...]:
    """Rows of `material_as_plain` that differ, frame by frame, in the order of their keys."""
    found: list[RowChange] = []
    for name in FRAMES:
        before, after = _rows(then["frames"][name], name), _rows(now["frames"][name], name)
        for key in sorted(before.keys() | after.keys()):
            change = _row_change(name, key, before.get(key), after.get(key))
            found += [change] if change else []
    return tuple(found)


def changed_figures(then: Plain, now: Plain) -> tuple[FigureChange, ...]:
    """Criteria whose numbers differ between two figures of `annual`."""
    after = {row["code"]: row for row in now["criteria"]}
    return tuple(
        FigureChange(row["code"], row["label"], _numbers(row), _numbers(after[row["code"]]))
        for row in then["criteria"]
        if row["code"] in after and _numbers(row) != _numbers(after[row["code"]])
    )


def _numbers(row: Plain) -> str:
    return f"{row['events']} of {row['total']}"


def _rows(stored: Plain, name: str) -> dict[tuple[str, ...], Plain]:
    rows = [dict(zip(stored["columns"], row, strict=True)) for row in stored["rows"]]
    return {tuple(str(row[part]) for part in ROW_KEYS[name]): row for row in rows}


def _row_change(name: str, key: tuple[str, ...], then: Plain | None, now: Plain | None) -> RowChange | None:
    if then is None or now is None:
        values = now if then is None else then
        return RowChange(name, "added" if then is None else "gone", key, (), values or {})
    columns = FRAMES[name][0]
    # A column that the program of the time did not know is no change of the record.
    cells = tuple(
        CellChange(column, columns[column].description, then[column], now[column])
        for column in columns
        if column in then and column in now and then[column] != now[column]
    )
    return RowChange(name, "changed", key, cells, now) if cells else None
