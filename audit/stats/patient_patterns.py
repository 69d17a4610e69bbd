"""Distinct patients and how often each occurs: what a regression needs of many rows. Knows numbers only."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

from audit.stats.intervals import Whole
from audit.stats.patient_types import patient_numbers, patient_types
from audit.stats.proportion import Floats

# Columns of length 1 whose Gram matrix has an eigenvalue below this depend on each other.
DEPENDENT = 1e-10
# Codes of several columns are one whole number while it stays below this; whole values nearer than this need no sort.
LARGEST = 2**62
NEAR = 2**16


@dataclass(frozen=True)
class Patterns:
    """Units alike kept once as a kind, patients alike in all their units kept once as a pattern.

    design: kinds x columns. outcome: one value per kind. counts: how many units are of each kind.
    members: patterns x kinds, sparse: how many units of each kind such a patient has.
    sizes: units of a patient of each pattern. times: how many patients are of each pattern.
    """

    design: Floats
    outcome: Floats
    counts: Whole
    members: Any
    sizes: Whole
    times: Whole

    @property
    def patients(self) -> int:
        return int(self.times.sum())

    @property
    def units(self) -> int:
        return int(self.counts.sum())

    @property
    def events(self) -> int:
        return int(self.counts @ self.outcome)

    @property
    def pairs(self) -> int:
        """Pairs of units of one patient."""
        return int((self.times * (self.sizes * (self.sizes - 1) // 2)).sum())

    def sums(self, values: Floats) -> Floats:
        """Sums of `values`, one row per kind, over the units of one patient of each pattern."""
        found: Floats = self.members @ values
        return found


def check_model(design: npt.ArrayLike, outcome: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Design and outcome of a logistic regression as arrays.

    design: units x coefficients, finite numbers. outcome: 0 or 1 for each unit.
    Refuses with ValueError no unit, lengths that differ, values that are not finite, an outcome that is neither 0 nor
    1, and columns that depend on each other.
    """
    rows, results = np.asarray(design, dtype=np.float64), check_outcome(outcome)
    if rows.ndim != 2 or 0 in rows.shape:
        raise ValueError(f"design must have units and columns, at least 1 of each, not the shape {rows.shape}")
    if results.shape != (len(rows),):
        raise ValueError(f"outcome must hold one value for each of {len(rows)} units, not the shape {results.shape}")
    if not np.isfinite(rows).all():
        raise ValueError("design must hold finite numbers, not NaN or infinity")
    lengths = np.sqrt((rows**2).sum(axis=0))
    scaled = rows / np.where(lengths == 0, 1.0, lengths)
    rank = int((np.linalg.eigvalsh(scaled.T @ scaled) > DEPENDENT).sum())
    if rank < rows.shape[1]:
        raise ValueError(f"design must have {rows.shape[1]} independent columns, not {rank}")
    return rows, results


def check_outcome(outcome: npt.ArrayLike) -> Floats:
    """The outcome of each unit as an array; refuses with ValueError no unit, and anything but 0 and 1."""
    results = np.asarray(outcome, dtype=np.float64)
    if results.ndim != 1 or not results.size:
        raise ValueError(f"outcome must be a list of at least 1 unit, not the shape {results.shape}")
    strange = results[(results != 0) & (results != 1)]
    if strange.size:
        raise ValueError(f"outcome must be 0 or 1, not {strange[0]:g}")
    return results


def patient_patterns(design: Floats, outcome: Floats, patients: npt.ArrayLike) -> Patterns:
    """The distinct units and distinct patients of a sample.

    design: units x columns; outcome: one value per unit; patients: one label per unit, equal labels are one patient.
    Patients are alike if their units are, in whatever order. The result does not depend on the order of the rows.
    Refuses with ValueError labels of another length, and NaN as a label.
    """
    labels = patient_numbers(patients, len(outcome))
    kinds = distinct_rows(np.column_stack([design, outcome]))
    _, example, counts = np.unique(kinds, return_index=True, return_counts=True)
    types = patient_types(labels, kinds)
    members = csr_array(
        (types.count.astype(np.float64), (types.owner, types.interval)), shape=(len(types.multiplicity), len(counts))
    )
    sizes = np.bincount(types.owner, types.count).astype(np.int64)
    return Patterns(design[example], outcome[example], counts, members, sizes, types.multiplicity)


def distinct_rows(values: Floats | Whole) -> Whole:
    """A number from 0 for each row, equal exactly for equal rows, in the order of the values from left to right."""
    codes, kinds = np.zeros(len(values), dtype=np.int64), 1
    for column in values.T:
        place, found = _places(column)
        if kinds * found >= LARGEST:
            _, codes = np.unique(codes, return_inverse=True)
            kinds = int(codes.max()) + 1
        codes, kinds = codes * found + place, kinds * found
    _, codes = np.unique(codes, return_inverse=True)
    return codes


def _places(column: npt.NDArray[Any]) -> tuple[Whole, int]:
    """The rank of each value, or its distance from the least if all are whole and near; and how many there can be."""
    least, most = column.min(), column.max()
    if most - least < NEAR and (column == np.floor(column)).all():
        return (column - least).astype(np.int64), int(most - least) + 1
    found, place = np.unique(column, return_inverse=True)
    return place.astype(np.int64), len(found)
