"""The sums over patients that clustered intervals stand on, from lists of patients or long lists of units."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from audit.stats.proportion import check_counts

Integers = npt.NDArray[np.int64]

# Above this many cells a row, a table of patients by strata is mostly empty: then rows are sorted instead.
CELLS_PER_ROW = 4


class Sums(NamedTuple):
    """All that a clustered interval needs of one group: whole-number sums over its patients.

    clusters: patients. events, total: their y and m summed. squares: of y. products: y * m. total_squares: of m.
    """

    clusters: int
    events: int
    total: int
    squares: int
    products: int
    total_squares: int


def sums_of(events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int]) -> Sums:
    """The sums of one group from one whole number per patient in both lists, 0 <= events <= total, total >= 1.

    Refuses with ValueError lists of different lengths, no patient at all, and counts out of range, naming the place.
    """
    _check_clusters(events_by_cluster, totals_by_cluster)
    pairs = [(int(y), int(m)) for y, m in zip(events_by_cluster, totals_by_cluster, strict=True)]
    return Sums(
        len(pairs), sum(y for y, _ in pairs), sum(m for _, m in pairs),
        sum(y * y for y, _ in pairs), sum(y * m for y, m in pairs), sum(m * m for _, m in pairs),
    )  # fmt: skip


def sums_by_stratum(
    strata: npt.ArrayLike, patients: npt.ArrayLike, events: npt.ArrayLike, count: int
) -> tuple[Sums, ...]:
    """The sums of every stratum from one entry per unit, without a loop over units.

    strata: whole numbers, 0 to count - 1. patients: whole numbers, 0 or more. events: 0 or 1, or true and false. All
    three of one length and in any order; a patient may have units in several strata. count: of strata, at least 1.
    A stratum without units gets zeros. Refuses with ValueError other lengths and numbers out of range.
    """
    if count < 1:
        raise ValueError(f"count must be at least 1, not {count}")
    # As narrow as they can be: what is read ten million times should be short.
    stratum = _whole("strata", strata, count - 1).astype(np.min_scalar_type(count - 1), copy=False)
    patient = _whole("patients", patients, np.iinfo(np.int64).max).astype(np.int64, copy=False)
    event = _whole("events", events, 1).astype(np.int8, copy=False)
    for name, found in (("patients", patient), ("events", event)):
        if found.size != stratum.size:
            raise ValueError(f"{name} must have the length of strata, {stratum.size}, not {found.size}")
    if not stratum.size:
        return (Sums(0, 0, 0, 0, 0, 0),) * count
    where, units, having, number = _lines(stratum, patient, event, count)
    weights = (number, number * having, number * units, number * having**2, number * having * units, number * units**2)
    # Whole numbers, exact in a float up to 2 ** 53.
    columns = [np.bincount(where, weights=weight, minlength=count).astype(np.int64).tolist() for weight in weights]
    return tuple(Sums(*row) for row in zip(*columns, strict=True))


def _lines(strata: Integers, patients: Integers, events: npt.NDArray[np.int8], count: int) -> tuple[Integers, ...]:
    """Lines of stratum, units, units with the event, and the number of patients who are so within that stratum."""
    people = int(patients.max()) + 1
    if people > CELLS_PER_ROW * patients.size:
        patients = np.unique(patients, return_inverse=True)[1]
        people = int(patients.max()) + 1
    home = np.zeros(people, dtype=strata.dtype)
    home[patients] = strata
    lines = None
    if np.array_equal(home.take(patients), strata):  # nobody is in two strata
        lines = _counted(patients, events, home)
    elif count * people <= CELLS_PER_ROW * patients.size:
        cells = strata.astype(np.int64) * people + patients
        lines = _counted(cells, events, np.repeat(np.arange(count), people))
    return lines or _sorted(strata, patients, events, people)


def _counted(cells: Integers, events: npt.NDArray[np.int8], stratum: Integers) -> tuple[Integers, ...] | None:
    """Counts into one small number per cell, units in its lower byte: so the table stays in the processor's reach.

    stratum: of each cell. None where a patient has more units than a byte holds.
    """
    table = np.zeros(stratum.size, dtype=np.uint16)
    np.add.at(table, cells, (events.astype(np.uint16) << 8) + np.uint16(1))
    # A byte that overflowed has lost 256 units.
    if int((table & 255).sum(dtype=np.int64)) != cells.size:
        return None
    key = np.left_shift(stratum, 16, dtype=np.int64)
    key += table
    number = np.bincount(key)
    line = np.flatnonzero(number)
    line = line[(line & 0xFFFF) > 0]  # a cell where a patient has no unit
    return line >> 16, line & 255, line >> 8 & 255, number[line]


def _sorted(strata: Integers, patients: Integers, events: npt.NDArray[np.int8], people: int) -> tuple[Integers, ...]:
    """Every patient within a stratum is a line, found by sorting: slower, for any number of units and strata."""
    pair = np.sort((strata.astype(np.int64) * people + patients) * 2 + events)
    begin = np.flatnonzero(np.diff(pair >> 1, prepend=-1))
    having = np.add.reduceat(pair & 1, begin)
    return (pair[begin] >> 1) // people, np.diff(begin, append=pair.size), having, np.ones_like(begin)


def _whole(name: str, values: npt.ArrayLike, highest: int) -> Integers:
    """The values as integers of whatever width they came in; refuses what is not whole or out of range."""
    found = np.asarray(values)
    if found.ndim != 1:
        raise ValueError(f"{name} must be one list, not {found.ndim}-dimensional")
    if found.dtype == bool:
        return found.view(np.int8)
    if found.dtype.kind not in "iu":
        found = found.astype(float)
        uneven = ~(np.isfinite(found) & (found == np.floor(found)))
        if uneven.any():
            raise ValueError(f"{name} must be whole numbers, not {found[uneven][0]}")
    if found.size and not 0 <= found.min() <= found.max() <= highest:
        worst = found.min() if found.min() < 0 else found.max()
        raise ValueError(f"{name} must be from 0 to {highest}, not {worst}")
    return found if found.dtype.kind in "iu" else found.astype(np.int64)


def _check_clusters(events: Sequence[int], totals: Sequence[int]) -> None:
    if len(events) != len(totals):
        raise ValueError(f"events_by_cluster must have as many entries as totals_by_cluster, {len(totals)}, "
                         f"not {len(events)}")  # fmt: skip
    if not len(totals):
        raise ValueError("totals_by_cluster must hold at least 1 cluster, not 0")
    for place, (found, total) in enumerate(zip(events, totals, strict=True)):
        try:
            check_counts(found, total)
        except ValueError as problem:
            raise ValueError(f"cluster {place}: {problem}") from problem
