"""One table together with those of other periods: what a reader can subtract is tied before anything is left out.

Knows numbers and days only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol, TypeVar

import numpy as np

from audit.stats.cell_ranges import Table


class Shown(Protocol):
    """A table of an earlier release."""

    @property
    def first(self) -> date: ...
    @property
    def last(self) -> date: ...
    @property
    def lines(self) -> tuple[str, ...]: ...
    @property
    def values(self) -> tuple[tuple[int, ...], ...]: ...
    @property
    def hidden(self) -> tuple[tuple[bool, ...], ...]: ...


_Shown = TypeVar("_Shown", bound=Shown)


@dataclass(frozen=True, eq=False)
class _Part:
    """A table in the joint one. at: place of its first number. days: its period."""

    first: date
    last: date
    values: np.ndarray
    at: int

    @property
    def days(self) -> int:
        return (self.last - self.first).days

    def holds(self, other: "_Part") -> bool:
        return self is not other and self.first <= other.first and other.last <= self.last and self.days > other.days

    def crosses(self, other: "_Part") -> bool:
        """Whether the periods meet without being the same, and neither holds the other."""
        same = (self.first, self.last) == (other.first, other.last)
        return self.meets(other) and not same and not self.holds(other) and not other.holds(self)

    def meets(self, other: "_Part") -> bool:
        return self.first <= other.last and other.first <= self.last


def around(first: date, last: date, earlier: Sequence[_Shown]) -> list[_Shown]:
    """The earlier tables whose period meets the new one, or meets one that does, and so on, in their order."""
    reached = [(first, last)]
    while True:
        found = [one for one in earlier if any(one.first <= end and begin <= one.last for begin, end in reached)]
        if len(found) + 1 == len(reached):
            return found
        reached = [(first, last), *((one.first, one.last) for one in found)]


def joined(
    own: Table, lines: Sequence[str], first: date, last: date, earlier: Sequence[Shown]
) -> tuple[Table, np.ndarray]:
    """The new table and the earlier ones as one, and which numbers are known already.

    own: of these lines and this period. earlier: as `around` finds them.
    Tables of one period hold the same numbers. Whatever a period holds is the sum of the longest periods within it that
    do not meet, and of a rest, which is as telling as a table of its own; where they fill the period there is none.
    Raises ArithmeticError where a part holds more than its whole, parts that fill it hold less, or two tables of a
    period differ: a reader would add up and may hit upon a number by mistake. The same where two periods meet and
    neither holds the other.
    """
    size = own.values.size
    parts = [_Part(first, last, own.values.ravel(), 0)]
    keep = [np.zeros(size, dtype=np.bool_)]
    for table in earlier:
        values, hidden = _aligned(table, lines)
        parts.append(_Part(table.first, table.last, values, size * len(parts)))
        keep.append(~hidden)
    flat = [part.values for part in parts]
    sums = [_moved(own.sums, part.at) for part in parts]
    classes = [_moved(own.classes, part.at) for part in parts]
    periods = _one_a_period(parts)
    for part in parts:
        same = periods[part.first, part.last]
        if (part.values != same.values).any():
            raise ArithmeticError("an earlier table of an overlapping period was counted on other records")
        if part is not same:
            sums.append(tuple((same.at + place, (part.at + place,)) for place in range(size)))
    for whole in periods.values():
        inside = _longest_apart([part for part in periods.values() if whole.holds(part)])
        if not inside:
            continue
        rest = whole.values - sum(part.values for part in inside)
        whole_period = sum(part.days + 1 for part in inside) == whole.days + 1
        if (rest < 0).any() or (whole_period and rest.any()):
            raise ArithmeticError("an earlier table of an overlapping period was counted on other records")
        if whole_period:
            sums.append(tuple(
                (whole.at + place, tuple(part.at + place for part in inside)) for place in range(size)
            ))  # fmt: skip
            continue
        at = sum(len(values) for values in flat)
        flat.append(rest)
        keep.append(np.zeros(size, dtype=np.bool_))
        sums.append(tuple(
            (whole.at + place, (*(part.at + place for part in inside), at + place)) for place in range(size)
        ))  # fmt: skip
    return (
        Table(np.concatenate(flat), tuple(one for group in sums for one in group),
              tuple(one for group in classes for one in group)),
        np.concatenate(keep),
    )  # fmt: skip


def _one_a_period(parts: Sequence[_Part]) -> dict[tuple[date, date], _Part]:
    """The first table of every period; raises ArithmeticError where two periods cross."""
    found: dict[tuple[date, date], _Part] = {}
    for part in parts:
        if any(part.crosses(other) for other in found.values()):
            raise ArithmeticError("an earlier table is of a period that overlaps this one and does not hold it")
        found.setdefault((part.first, part.last), part)
    return found


def _longest_apart(parts: Sequence[_Part]) -> list[_Part]:
    found: list[_Part] = []
    for part in sorted(parts, key=lambda one: (-one.days, one.first, one.at)):
        if not any(part.meets(other) for other in found):
            found.append(part)
    return found


def _moved(sums: tuple[tuple[int, tuple[int, ...]], ...], by: int) -> tuple[tuple[int, tuple[int, ...]], ...]:
    return tuple((total + by, tuple(part + by for part in parts)) for total, parts in sums)


def _aligned(given: Shown, lines: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """The earlier numbers in the lines of the new table; a line it did not have held nobody."""
    at = {code: place for place, code in enumerate(given.lines)}
    values = [given.values[at[code]] if code in at else (0, 0, 0) for code in lines]
    hidden = [given.hidden[at[code]] if code in at else (False, False, False) for code in lines]
    return np.array(values, dtype=np.int64).ravel(), np.array(hidden, dtype=np.bool_).ravel()
