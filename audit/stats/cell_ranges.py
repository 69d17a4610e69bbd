"""What the shown cells of a table say about the others, by linear and integer programming. Knows numbers only."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Counts = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Sums = tuple[tuple[int, tuple[int, ...]], ...]

# A margin costs ten times a cell below it when it is left out, so cells go first.
COST_OF_A_MARGIN = 10.0
# What a solver leaves of zero.
NOTHING = 1e-6


@dataclass(frozen=True, eq=False)
class Table:
    """Counts and what adds up to what.

    values: whole numbers, 0 or more, of any shape, totals included. sums: pairs of the flat place of a total and the
    flat places of its parts. classes: those of the sums that are a group of patients and what became of them.
    Refuses with ValueError negative values and totals that are not the sum of their parts.
    """

    values: Counts
    sums: Sums
    classes: Sums

    def __post_init__(self) -> None:
        flat = self.values.ravel()
        if (flat < 0).any():
            raise ValueError(f"values must be at least 0, not {flat.min()}")
        for total, parts in self.sums:
            found = int(flat[list(parts)].sum())
            if flat[total] != found:
                raise ValueError(f"values[{total}] must be the sum of its parts, {found}, not {flat[total]}")

    @property
    def equations(self) -> Floats:
        """One row per sum, one column per flat place: total less parts, which is 0."""
        found = np.zeros((len(self.sums), self.values.size))
        for row, (total, parts) in enumerate(self.sums):
            found[row, list(parts)] -= 1
            found[row, total] += 1
        return found

    @property
    def costs(self) -> Floats:
        """What leaving out each flat place loses: more for larger counts and for margins, most for the grand total."""
        flat = self.values.ravel()
        rank = np.zeros(flat.size)
        for _ in range(flat.size):
            before = rank.copy()
            for total, parts in self.sums:
                rank[total] = max(rank[total], rank[list(parts)].max() + (len(parts) > 1))
            if (rank == before).all():
                break
        # A zero is often known from elsewhere, so it protects badly: it goes last of the cells.
        weight = 1 + np.log1p(np.where(flat == 0, flat.max(), flat))
        return np.asarray(weight * COST_OF_A_MARGIN**rank, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Ranges:
    """The least and the greatest value each cell can have. low, high: in the shape of the table; high may be infinite.

    A cell that is shown has its own value twice.
    """

    low: Floats
    high: Floats

    @property
    def width(self) -> Floats:
        return self.high - self.low


def ranges(table: Table, mask: Flags) -> Ranges:
    """Both limits of every cell, from the cells that are not in the mask alone."""
    attack = _Attack(table, mask)
    low, high = table.values.astype(np.float64), table.values.astype(np.float64)
    for place in attack.hidden.tolist():
        low.flat[place], high.flat[place] = attack.least(place), attack.greatest(place)
    return Ranges(low, high)


def too_narrow(table: Table, mask: Flags, width: int) -> Iterator[int]:
    """Flat places of the masked cells whose range is narrower than `width`, in their order.

    Every table that a problem finds is one more that the reader cannot rule out, so most cells need no problem of
    their own.
    """
    attack = _Attack(table, mask)
    low, high = table.values.ravel().astype(np.float64), table.values.ravel().astype(np.float64)
    for place in attack.hidden.tolist():
        for sign in (-1, 1):
            if high[place] - low[place] >= width:
                break
            found = attack.extreme(place, sign)
            if found is None:
                high[place] = np.inf
            else:
                low[attack.hidden] = np.minimum(low[attack.hidden], found)
                high[attack.hidden] = np.maximum(high[attack.hidden], found)
        if high[place] - low[place] < width:
            yield place


def cheapest_partners(table: Table, mask: Flags, keep: Flags, place: int, width: int) -> Flags | None:
    """Which cells must be left out besides so that the cell at the flat `place` has a range of `width`; None: none do.

    Two tables are sought that differ by `width` in this cell and from the true one as cheaply as possible: cells that
    are left out already move freely, `keep` never moves, and every other cell costs by how far it moves.
    """
    from scipy.optimize import linprog

    size, equations = table.values.size, table.equations
    true = table.values.ravel().astype(np.float64)
    price = np.where(mask.ravel(), 0.0, table.costs)
    most_down = np.where(keep.ravel(), 0.0, true)
    most_up = np.where(keep.ravel(), 0.0, np.inf)
    # Unknowns: how far the upper table moves up and down, and the lower table up and down.
    bounds = np.column_stack([np.zeros(4 * size), np.concatenate([most_up, most_down, most_up, most_down])])
    one = np.concatenate([equations, -equations], axis=1)
    both = np.block([[one, np.zeros_like(one)], [np.zeros_like(one), one]])
    apart = np.zeros((1, 4 * size))
    apart[0, [place, size + place, 2 * size + place, 3 * size + place]] = -1, 1, 1, -1
    found = linprog(
        np.tile(price, 4), A_ub=apart, b_ub=[-float(width)], A_eq=both, b_eq=np.zeros(len(both)), bounds=bounds,
    )  # fmt: skip
    if found.status == 2:
        return None
    if found.status != 0:
        raise ArithmeticError(f"linear programming gave no answer: {found.message}")
    moved = np.abs(found.x).reshape(4, size).max(axis=0) > NOTHING
    return np.asarray((moved & ~mask.ravel()).reshape(mask.shape))


class _Attack:
    """The problems of a reader who knows the shown cells, the sums, and that counts are whole and not negative."""

    def __init__(self, table: Table, mask: Flags) -> None:
        self.hidden = np.flatnonzero(mask)
        shown = np.where(mask, 0, table.values).ravel().astype(np.float64)
        equations = table.equations
        self._sides = -(equations @ shown)
        unknown = equations[:, self.hidden]
        useful = unknown.any(axis=1)
        self._unknown, self._sides = unknown[useful], self._sides[useful]

    def least(self, place: int) -> float:
        found = self.extreme(place, 1)
        if found is None:
            raise ArithmeticError("a count has no least value")
        return float(found[self._column(place)])

    def greatest(self, place: int) -> float:
        found = self.extreme(place, -1)
        return np.inf if found is None else float(found[self._column(place)])

    def extreme(self, place: int, sign: int) -> Floats | None:
        """All hidden cells where the one at `place` is least (sign 1) or greatest (-1); None: there is no greatest."""
        from scipy.optimize import Bounds, LinearConstraint, linprog, milp

        goal = np.zeros(self.hidden.size)
        goal[self._column(place)] = sign
        limits = LinearConstraint(self._unknown, self._sides, self._sides)
        found = milp(goal, constraints=limits, bounds=Bounds(0, np.inf), integrality=1)
        if found.status == 0:
            return np.asarray(np.abs(np.rint(found.x)), dtype=np.float64)
        # Integer programming does not tell "no limit" from "no solution"; linear programming does.
        found = linprog(goal, A_eq=self._unknown, b_eq=self._sides, bounds=(0, None))
        if found.status == 3:
            return None
        raise ArithmeticError(f"integer programming gave no answer: {found.message}")

    def _column(self, place: int) -> int:
        return int(np.searchsorted(self.hidden, place))
