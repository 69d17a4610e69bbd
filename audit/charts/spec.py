"""A chart as a value: the question, the rows drawn, the standard and the notes. Knows no medicine and draws nothing."""

import math
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    INTERVALS = "intervals"


@dataclass(frozen=True)
class IntervalRow:
    """One group: how many of how many, and the rate with its interval.

    events, total: whole numbers, 0 <= events <= total.
    rate, low, high: proportions, 0 to 1; all three None where no rate may be shown.
    hollow: the group is too small to be judged, and is marked so.
    Refuses with ValueError what could not be drawn honestly, a rate without interval above all.
    """

    label: str
    events: int
    total: int
    rate: float | None
    low: float | None
    high: float | None
    hollow: bool
    note: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.events <= self.total:
            raise ValueError(f"{self.label}: {self.events} of {self.total} is not a count of cases")
        if len({self.rate is None, self.low is None, self.high is None}) > 1:
            raise ValueError(f"{self.label}: a rate and its interval are shown together or not at all")
        if self.rate is not None and self.total == 0:
            raise ValueError(f"{self.label}: no cases, so no rate")
        for value in (self.rate, self.low, self.high):
            if value is not None and not _is_proportion(value):
                raise ValueError(f"{self.label}: {value} is not a proportion from 0 to 1")


@dataclass(frozen=True)
class Chart:
    """What picture, table, text and file are all made from, so that they cannot disagree.

    axis: what is counted, in which unit, with which interval.
    standard: the practice's own standard, a proportion from 0 to 1, or None.
    """

    slug: str
    title: str
    kind: Kind
    rows: tuple[IntervalRow, ...]
    axis: str
    standard: float | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.standard is not None and not _is_proportion(self.standard):
            raise ValueError(f"{self.slug}: a standard is a proportion from 0 to 1, not {self.standard}")


def _is_proportion(value: float) -> bool:
    """A hair beyond 0 or 1 is rounding in an interval's formula; not a number never is a proportion."""
    return math.isfinite(value) and -1e-9 <= value <= 1 + 1e-9
