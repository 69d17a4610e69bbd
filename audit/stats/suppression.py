"""Tables of patient counts that leave the practice: which cells to leave out so that none can be worked out.

The unit of every count is the patient. Knows numbers only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.cell_ranges import Counts, Flags, Ranges, Sums, Table, cheapest_partners, ranges, too_narrow
from audit.stats.thin import check_whole

# Counts from 1 to one less than this are left out: common in health statistics, no source; may be raised.
FEWEST_COUNTED = 5


@dataclass(frozen=True, eq=False)
class Suppressed:
    """Which cells of a table are left out. All arrays have the shape of `table.values`.

    first: left out because of their own count. mask: these and what protects them. ranges: what a reader can work
    out of every cell from the rest. shares: cells whose share of their class can be worked out only by who knows
    them, so that no percentage, interval, bar or label of theirs may be printed either.
    withheld: why the whole table must not be given; empty where the rest of the mask may be.
    """

    table: Table
    first: Flags
    mask: Flags
    ranges: Ranges
    shares: Flags
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def one_way(counts: npt.ArrayLike) -> Table:
    """A list of counts with its total, which becomes the last value. counts: whole numbers, 0 or more, shape (n,)."""
    cells = _whole(counts, 1)
    places = tuple(range(cells.size))
    return Table(np.append(cells, cells.sum()), ((cells.size, places),), ((cells.size, places),))


def two_way(counts: npt.ArrayLike) -> Table:
    """A table with its margins, which become the last row and column.

    counts: whole numbers, 0 or more, shape (rows, columns). Each row, and all rows together, is a class of patients
    whose outcome the columns tell; no patient may be in two cells.
    """
    cells = _whole(counts, 2)
    rows, columns = cells.shape
    full = np.zeros((rows + 1, columns + 1), dtype=np.int64)
    full[:rows, :columns] = cells
    full[rows] = full.sum(axis=0)
    full[:, columns] = full.sum(axis=1)
    place = np.arange(full.size).reshape(full.shape)
    across, down = _last_is_total(place), _last_is_total(place.T)
    return Table(full, across + down, across)


def events_by_class(events: npt.ArrayLike, patients: npt.ArrayLike, *, add_up: bool) -> Table:
    """Patients with the event, without it and in all, one row per class.

    events, patients: whole numbers, 0 <= events <= patients, shape (n,). add_up: no patient is in two classes; then a
    last row holds the totals. Where patients are in several classes there is no such row, and no total that counts
    patients once may be printed near the table: what it would give away is not worked out here.
    """
    hit, total = _whole(events, 1), _whole(patients, 1)
    if hit.shape != total.shape or (hit > total).any():
        raise ValueError("events must have one count per class, from 0 to patients")
    if add_up:
        return two_way(np.column_stack([hit, total - hit]))
    full = np.column_stack([hit, total - hit, total])
    lines = _last_is_total(np.arange(full.size).reshape(full.shape))
    return Table(full, lines, lines)


def linked(first: Table, second: Table, same: Sequence[tuple[int, int]]) -> Table:
    """Two tables that share numbers, as a table and one that breaks a row of it down further.

    same: pairs of flat places, of `first.values` and of `second.values`, that hold the same number; ValueError where
    they do not. Gives one table with the values of both one after the other, flat.
    """
    shift = first.values.size

    def moved(sums: Sums) -> Sums:
        return tuple((total + shift, tuple(part + shift for part in parts)) for total, parts in sums)

    equal = tuple((one, (other + shift,)) for one, other in same)
    values = np.concatenate([first.values.ravel(), second.values.ravel()])
    return Table(values, first.sums + moved(second.sums) + equal, first.classes + moved(second.classes))


def primary(table: Table, fewest: int = FEWEST_COUNTED) -> Flags:
    """The cells that must be left out because of their own count.

    fewest: at least 5. These are counts from 1 to fewest - 1; counts of a class whose complement, the rest of the
    class, is such a count; and every count, 0 too, of a class of fewer than `fewest` patients. Otherwise 0 may stand.
    Gives true per cell, in the shape of the values.

    Common practice, no source; Hundepohl A et al. Statistical Disclosure Control. Wiley 2012 (from memory,
    unverified).
    """
    check_whole("fewest", fewest, FEWEST_COUNTED)
    values = table.values.ravel()
    mask = (values > 0) & (values < fewest)
    for total, parts in table.classes:
        cells = np.array(parts)
        rest = values[total] - values[cells]
        # The rest of a 0 is the whole class, so this hides the zeros of small classes too.
        mask[cells] |= (rest > 0) & (rest < fewest)
    return np.asarray(mask.reshape(table.values.shape))


def audit_suppressed(table: Table, mask: npt.ArrayLike) -> Ranges:
    """What a reader can work out: the least and the greatest value of every cell that is left out.

    mask: true per cell left out, in the shape of the values; ValueError otherwise. The reader knows every other cell,
    which cells add up to which, and that counts are whole and not negative; the values left out are not looked at.
    Gives both limits for every cell; infinity where there is no greatest value; for a cell that is shown its value.

    Integer programming, two problems per cell: Fischetti M, Salazar JJ. Manag Sci 2001;47:1008-1027 (from memory,
    unverified). Referee: fixtures/reference/disclosure.json and enumeration of small tables in the tests.
    """
    return ranges(table, _checked(mask, table))


def suppress(table: Table, *, fewest: int = FEWEST_COUNTED, keep: npt.ArrayLike | None = None) -> Suppressed:
    """Leaves out what must be, and then more, until every cell left out can be anything in a range of `fewest`.

    fewest: at least 5; the range from least to greatest value is at least as wide, so it always holds a value that
    would not have been left out for its own count. keep: true per cell that stays in any case, because it is known
    elsewhere; if it is itself too small, or protection is impossible with it, the table is withheld.
    Of the possible protections a cheap one is taken: small counts before large ones, cells before margins, and nothing
    that turns out not to be needed; it need not be the cheapest of all. The same table always gives the same mask.

    The reader is not taken to reason from this very rule, by which some cell left out must be small.
    Not two cells per row and column: that can still be solved. Method: Kelly JP, Golden BL, Assad AA. Networks
    1992;22:397-417; Fischetti M, Salazar JJ. Manag Sci 2001;47:1008-1027 (both from memory, unverified).
    """
    first = primary(table, fewest)
    kept = np.zeros(first.shape, dtype=np.bool_) if keep is None else _checked(keep, table)
    if (first & kept).any():
        return _withheld(table, first, "a count that is known elsewhere would have to be left out")
    mask = first
    while (cell := next(too_narrow(table, mask, fewest), None)) is not None:
        partners = cheapest_partners(table, mask, kept, cell, fewest)
        if partners is None or not (partners & ~mask).any():
            return _withheld(table, first, "no choice of cells was found that protects the small counts")
        mask = mask | partners
    mask = _without_needless(table, mask, first, fewest)
    if mask.all():
        return _withheld(table, first, "every count would have to be left out")
    return Suppressed(table, first, mask, ranges(table, mask), _shares(table, mask))


def _last_is_total(places: Counts) -> Sums:
    return tuple((line[-1], tuple(line[:-1])) for line in places.tolist())


def _without_needless(table: Table, mask: Flags, first: Flags, fewest: int) -> Flags:
    """Puts back, largest first, what protects nothing that the rest does not, until nothing more can go back."""
    before = mask
    for place in sorted(np.flatnonzero(mask & ~first).tolist(), key=lambda one: -int(table.values.flat[one])):
        trial = mask.copy()
        trial.flat[place] = False
        if next(too_narrow(table, trial, fewest), None) is None:
            mask = trial
    # What could not go back may do so once others have: a cell that needed it may no longer be left out.
    return mask if mask is before else _without_needless(table, mask, first, fewest)


def _shares(table: Table, mask: Flags) -> Flags:
    hidden, flat = mask.ravel().copy(), mask.ravel()
    for total, parts in table.classes:
        hidden[list(parts)] |= flat[total]
    return np.asarray(hidden.reshape(mask.shape))


def _withheld(table: Table, first: Flags, reason: str) -> Suppressed:
    everything = np.ones(first.shape, dtype=np.bool_)
    return Suppressed(table, first, everything, ranges(table, everything), everything, reason)


def _whole(counts: npt.ArrayLike, dimensions: int) -> Counts:
    found = np.asarray(counts)
    if found.ndim != dimensions or not found.size:
        raise ValueError(f"counts must have {dimensions} dimensions and at least 1 cell, not the shape {found.shape}")
    for place, count in enumerate(found.ravel().tolist()):
        check_whole(f"counts[{place}]", count)
    return found.astype(np.int64)


def _checked(mask: npt.ArrayLike, table: Table) -> Flags:
    found = np.asarray(mask)
    if found.shape != table.values.shape or found.dtype != np.bool_:
        raise ValueError(f"mask must be true or false per cell, of shape {table.values.shape}, not {found.shape}")
    return found
