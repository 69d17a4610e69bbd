"""Every reference entry with our value and the difference, computed when asked."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from math import inf
from pathlib import Path
from typing import Any

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"
FAMILIES = {
    "proportions": "One proportion",
    "differences": "Two proportions",
    "exact": "Exact tests",
    "stratified": "Stratified tables",
    "trend": "Trend over exposure",
    "agreement": "Agreement between observers",
    "regression": "Regression",
    "curves": "Time to regrowth",
    "bounds": "Loss to follow-up",
    "funnel": "Funnel limits",
    "monitoring": "Monitoring between audits",
    "pooling": "Pooling practices",
    "sample_size": "Sample size",
    "disclosure": "Disclosure control",
}


@dataclass(frozen=True)
class Line:
    """One number of an entry. difference: ours less the reference; None where they are not numbers."""

    name: str
    reference: Any
    ours: Any
    tolerance: float

    @property
    def difference(self) -> float | None:
        numbers = isinstance(self.reference, int | float) and isinstance(self.ours, int | float)
        return float(self.ours) - float(self.reference) if numbers else None

    @property
    def agrees(self) -> bool:
        if self.difference is None:
            return bool(self.ours == self.reference)
        return abs(self.difference) <= self.tolerance

    @property
    def strain(self) -> float:
        """Difference in units of the tolerance: 0 is exact, above 1 is outside."""
        if self.agrees:
            return abs(self.difference) / self.tolerance if self.difference and self.tolerance else 0.0
        return abs(self.difference) / self.tolerance if self.difference and self.tolerance else inf


@dataclass(frozen=True)
class Check:
    """One entry: where the value comes from, how far that was verified, and its lines."""

    family: str
    id: str
    method: str
    citation: str
    how_verified: str
    lines: tuple[Line, ...]

    @property
    def agrees(self) -> bool:
        return all(line.agrees for line in self.lines)

    @property
    def nearest(self) -> Line:
        """The line that lies nearest to its tolerance, or farthest beyond it; the first of several alike."""
        return max(self.lines, key=lambda line: line.strain)


def entries(family: str) -> list[dict[str, Any]]:
    """The reference entries of a family as they stand in its file."""
    found: list[dict[str, Any]] = json.loads((REFERENCE / f"{family}.json").read_text("utf-8"))
    return found


def check(family: str, entry: dict[str, Any]) -> Check:
    """Our value beside one entry. KeyError for a call that the family's module does not know."""
    calls = import_module(f"audit.referees.{family}").CALLS
    ours = calls[entry["call"]](entry["input"])
    lines = tuple(_lines("", entry["expected"], ours, entry["tolerance"]))
    return Check(family, entry["id"], entry["method"], entry["citation"], entry["how_verified"], lines)


@cache
def all_checks() -> tuple[Check, ...]:
    """Every entry of every family. Computed once a process: entries and program stay the same while it runs."""
    return tuple(check(family, entry) for family in FAMILIES for entry in entries(family))


def _lines(name: str, expected: Any, ours: Any, tolerance: Any) -> Iterator[Line]:
    """The numbers of nested values, each with its path as name. A missing part of ours shows as None."""
    if isinstance(expected, dict):
        for key, value in expected.items():
            part = tolerance[key] if isinstance(tolerance, dict) else tolerance
            yield from _lines(_path(name, str(key)), value, ours.get(key) if isinstance(ours, dict) else None, part)
    elif isinstance(expected, list):
        same = isinstance(ours, list | tuple) and len(ours) == len(expected)
        for place, value in enumerate(expected):
            part = tolerance[place] if isinstance(tolerance, list) else tolerance
            yield from _lines(_path(name, str(place + 1)), value, ours[place] if same else None, part)
    else:
        yield Line(name, expected, ours, float(tolerance) if isinstance(tolerance, int | float) else 0.0)


def _path(name: str, part: str) -> str:
    return f"{name}, {part}" if name else part
