"""Patients who contribute the same intervals are one type, with a multiplicity: resampling needs nothing else.

Drawing patients with replacement is drawing the numbers of each type from a multinomial distribution, so the work
grows with the number of types and not of patients. Knows numbers only.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.intervals import Flags, Intervals, Whole


@dataclass(frozen=True, eq=False)
class PatientTypes:
    """Types of patient, in an order that depends on their intervals alone.

    multiplicity: shape (t,), patients of each type, 1 or more.
    owner, interval, count: shape (e,): a patient of type `owner` has `count` sides with this interval.
    patient_type: shape (highest patient number + 1,), the type of each patient, -1 for one without any.
    """

    multiplicity: Whole
    owner: Whole
    interval: Whole
    count: Whole
    patient_type: Whole

    @property
    def patients(self) -> int:
        return int(self.multiplicity.sum())

    def interval_weights(self, drawn: Whole, intervals: int) -> npt.NDArray[np.float64]:
        """Sides with each interval, shape (intervals,), when `drawn` patients of each type were drawn."""
        weights = np.bincount(self.interval, self.count * drawn[self.owner], intervals)
        return np.asarray(weights, dtype=np.float64)


def patient_numbers(patient: npt.ArrayLike, rows: int) -> Whole:
    """A number 0 or above per row, the same for rows of the same patient; refuses with ValueError another length."""
    given = np.asarray(patient)
    if given.shape != (rows,):
        raise ValueError(f"patient must be a list of {rows} patients, one per side, not of shape {given.shape}")
    if given.dtype.kind in "iu" and rows and given.min() >= 0 and given.max() < 4 * rows + 1000:
        return given.astype(np.int64, copy=False)
    if given.dtype.kind == "f" and np.isnan(given).any():
        raise ValueError("patient must name a patient in every row, not nan")
    return np.unique(given, return_inverse=True)[1].astype(np.int64)


def flags_of(in_group: npt.ArrayLike, shape: tuple[int, ...]) -> Flags:
    """True or false per side; refuses with ValueError another length and other values."""
    given = np.asarray(in_group)
    if given.shape != shape:
        raise ValueError(f"in_group must have one entry per side, so the shape {shape}, not {given.shape}")
    if given.dtype != np.bool_ and not np.isin(given, (0, 1)).all():
        raise ValueError("in_group must be true or false for each side")
    return given.astype(np.bool_)


def patient_types(patient: Whole, interval: Whole) -> PatientTypes:
    """Types of the patients by the intervals of their sides.

    patient: shape (n,), as `patient_numbers` gives them. interval: shape (n,), index of each side's interval, -1 for
    sides that say nothing. Patients with such sides only are left out: they change no estimate, drawn or not.
    """
    known = int(patient.max(initial=-1)) + 1
    telling = interval >= 0
    owners, intervals = patient[telling], interval[telling]
    spread = int(intervals.max(initial=0)) + 1
    keys = owners * spread + intervals
    keys.sort()
    owners, intervals = np.divmod(keys, spread)
    begins = np.flatnonzero(np.append(True, owners[1:] != owners[:-1])) if len(keys) else np.zeros(0, dtype=np.int64)
    sizes = np.diff(np.append(begins, len(keys)))
    rank = _ranks(intervals, begins, sizes, spread)
    _, example, place, multiplicity = np.unique(
        sizes * (int(rank.max(initial=0)) + 1) + rank, return_index=True, return_inverse=True, return_counts=True
    )
    patient_type = np.full(known, -1, dtype=np.int64)
    patient_type[owners[begins]] = place
    lengths = sizes[example]
    owner = np.repeat(np.arange(len(example)), lengths)
    offset = np.arange(len(owner)) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    held = intervals[np.repeat(begins[example], lengths) + offset]
    entries, count = np.unique(owner * spread + held, return_counts=True)
    return PatientTypes(multiplicity, entries // spread, entries % spread, count, patient_type)


def seed_of(purpose: str, intervals: Sequence[Intervals], types: PatientTypes) -> int:
    """A seed from the data alone (SHA-256 of the sorted input): same data, same numbers, whatever order or names."""
    digest = hashlib.sha256(purpose.encode())
    for group in intervals:
        for days in (group.left, group.right):
            digest.update(b"|" + days.astype("<f8").tobytes())
    for numbers in (types.multiplicity, types.owner, types.interval, types.count):
        digest.update(b"|" + numbers.astype("<i8").tobytes())
    return int.from_bytes(digest.digest()[:8], "little")


def _ranks(intervals: Whole, begins: Whole, sizes: Whole, spread: int) -> Whole:
    """Equal for patients of one size exactly if they have the same intervals; in the order of those intervals."""
    rank = intervals[begins] if len(begins) else begins
    for place in range(1, int(sizes.max(initial=0))):
        longer = sizes > place
        pair = rank[longer] * spread + intervals[begins[longer] + place]
        rank[longer] = np.unique(pair, return_inverse=True)[1]
    return rank
