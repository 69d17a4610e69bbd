"""The sides of one group of patients, aggregated and fitted: how many patients stand behind each part of the curve.

Knows numbers only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.clustered import FEWEST_PATIENTS
from audit.stats.intervals import Days, Flags, Intervals, Whole, aggregate_rows
from audit.stats.patient_types import PatientTypes, patient_numbers, patient_types
from audit.stats.turnbull import Curve, fit

# The curve ends on the last day with so many patients under observation (our own choice).
FEWEST_OBSERVED = 10


@dataclass(frozen=True, eq=False)
class Sample:
    """Sides that say something, with their fit.

    intervals, curve: of all sides. types: of their patients. places, mass: where in the grid of ends the fit has its
    mass, and how much.
    """

    intervals: Intervals
    types: PatientTypes
    curve: Curve
    places: Whole
    mass: Days

    @property
    def patients(self) -> int:
        return self.types.patients

    @property
    def sides(self) -> int:
        return int(self.intervals.weight.sum())

    @property
    def event_sides(self) -> int:
        return int(self.intervals.weight[np.isfinite(self.intervals.right)].sum())

    @property
    def event_patients(self) -> int:
        return self._patients_with(np.isfinite(self.intervals.right))

    def patients_possibly_regrown(self, day: float) -> int:
        """Patients with a side that was seen regrown and may have regrown before the end of `day`."""
        return self._patients_with(np.isfinite(self.intervals.right) & (self.intervals.left < day))

    def sides_observed(self, day: float) -> int:
        """Sides still under observation: seen clear on or after `day`."""
        return int(self.intervals.weight[self.intervals.left >= day].sum())

    def patients_observed(self, day: float) -> int:
        """Patients with a side still under observation on `day`."""
        return self._patients_with(self.intervals.left >= day)

    @property
    def last_shown_day(self) -> float | None:
        """The last day with ten patients under observation, where a drawn curve ends; None where there are not so many.

        Pocock SJ, Clayton TC, Altman DG. Lancet 2002;359:1686-1689, on ending a curve early; ten is our own choice.
        """
        last = np.zeros(len(self.types.multiplicity))
        np.maximum.at(last, self.types.owner, self.intervals.left[self.types.interval])
        order = np.argsort(-last, kind="stable")
        enough = np.cumsum(self.types.multiplicity[order]) >= FEWEST_OBSERVED
        return float(last[order[int(np.argmax(enough))]]) if enough.any() else None

    def withheld_at(self, day: float) -> str:
        """Why the share regrown by this day may not be shown; empty where it may."""
        if self.curve.withheld:
            return self.curve.withheld
        if self.patients < FEWEST_PATIENTS:
            return f"not enough patients for a rate: {counted(self.patients)}, at least {FEWEST_PATIENTS} are needed"
        observed = self.patients_observed(day)
        if observed < FEWEST_OBSERVED:
            return f"not enough patients seen on or after day {day:g}: {observed} of {FEWEST_OBSERVED}"
        return ""

    def _patients_with(self, intervals: Flags) -> int:
        with_it = np.zeros(len(self.types.multiplicity), dtype=np.bool_)
        with_it[self.types.owner[intervals[self.types.interval]]] = True
        return int(self.types.multiplicity[with_it].sum())


def sample_of(patient: npt.ArrayLike, left: npt.ArrayLike, right: npt.ArrayLike) -> Sample:
    """The sample of one group; patient, left, right of shape (n,), as for `regrowth`."""
    return samples_of(patient, left, right, np.zeros(np.shape(patient), dtype=np.int64), 1)[0][0]


def samples_of(
    patient: npt.ArrayLike, left: npt.ArrayLike, right: npt.ArrayLike, group: Whole, groups: int
) -> tuple[Sequence[Sample], PatientTypes]:
    """A sample per group, and the types of patients over all groups, with the intervals of the groups numbered
    through: a patient with sides in several groups stays one patient.

    patient, left, right: shape (n,). group: shape (n,), 0 .. groups - 1.
    """
    numbers = patient_numbers(patient, len(group))
    lefts, rights = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    if not lefts.shape == rights.shape == group.shape:
        raise ValueError(
            f"left and right must have one entry per side, {len(group)}, not {lefts.shape}, {rights.shape}"
        )
    through, samples, before = np.full(len(group), -1, dtype=np.int64), [], 0
    for place in range(groups):
        own = slice(None) if groups == 1 else group == place
        intervals, index = aggregate_rows(lefts[own], rights[own])
        through[own] = np.where(index >= 0, index + before, -1)
        before += len(intervals.left)
        curve, support, mass = fit(intervals)
        types = patient_types(numbers[own], index)
        samples.append(Sample(intervals, types, curve, support.ends[mass > 0], curve.mass))
    return samples, samples[0].types if groups == 1 else patient_types(numbers, through)


def counted(patients: int) -> str:
    return "1 patient" if patients == 1 else f"{patients} patients"
