"""The terms of a regression: levels against a reference, numbers as they are, and the effect each stands for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.clustered import too_thin_to_compare
from audit.stats.intervals import Whole
from audit.stats.proportion import Floats

# A level with fewer patients goes into "other", where that was declared (our own choice).
SMALL_LEVEL = 5
OTHER = "other"


@dataclass(frozen=True)
class Factor:
    """A term with levels, such as the technique.

    labels: one per unit. reference: the level compared with; None takes the one with most units.
    merge_small: whether levels with fewer than 5 patients become "other"; only where that was declared beforehand.
    """

    name: str
    labels: Sequence[str]
    reference: str | None = None
    merge_small: bool = False


@dataclass(frozen=True)
class Covariate:
    """A term that is a finite number for each unit; `step` says in words what its effect is per."""

    name: str
    values: Sequence[float]
    step: str = "per 1"


@dataclass(frozen=True)
class Effect:
    """One odds ratio with its interval.

    term, label: the factor and its level, or the covariate and its step. against: the reference level, or empty.
    patients, units, events: of the level; of the whole sample for a covariate.
    odds_ratio, low, high, p_value: all None where `withheld` says why. A single limit None: no limit on this side.
    holm_p: p-value corrected for all levels compared within the factor; None for a covariate.
    """

    term: str
    label: str
    against: str
    patients: int
    units: int
    events: int
    odds_ratio: float | None = None
    low: float | None = None
    high: float | None = None
    p_value: float | None = None
    holm_p: float | None = None
    withheld: str = ""

    @property
    def name(self) -> str:
        return f"{self.term} {self.label}"

    @property
    def shown(self) -> bool:
        return not self.withheld


def coded_terms(
    terms: Sequence[Factor | Covariate], outcome: Floats, patients: Whole
) -> tuple[list[Effect], Floats, tuple[str, ...]]:
    """Effects still without numbers, the design with a first column of ones, and notes in words.

    terms: at least one, with names that differ. outcome, patients: one entry per unit.
    A level whose patients, or whose reference's, are too few to compare gets its column and a withheld effect.
    Refuses with ValueError, naming the term: another length, values that are not finite, an unknown reference,
    a name used twice. A factor with one level only has no effect, and a note says so.
    """
    if not terms:
        raise ValueError("terms must hold at least 1 term, not 0")
    names = [term.name for term in terms]
    if len(set(names)) < len(names):
        raise ValueError(f"terms must have names that differ, not {', '.join(names)}")
    effects: list[Effect] = []
    columns: list[Floats] = [np.ones(len(outcome))]
    notes: list[str] = []
    for term in terms:
        if isinstance(term, Factor):
            found, coded, remarks = _levels(term, outcome, patients)
            notes.extend(remarks)
        else:
            found, coded = [_whole_sample(term, outcome, patients)], [_numbers(term, len(outcome))]
        effects.extend(found)
        columns.extend(coded)
    return effects, np.column_stack(columns), tuple(notes)


def _numbers(term: Covariate, units: int) -> Floats:
    values = np.asarray(term.values, dtype=np.float64)
    if values.shape != (units,):
        raise ValueError(f"{term.name} must hold one value for each of {units} units, not the shape {values.shape}")
    if not np.isfinite(values).all():
        raise ValueError(f"{term.name} must hold finite numbers, not NaN or infinity")
    return values


def _whole_sample(term: Covariate, outcome: Floats, patients: Whole) -> Effect:
    return Effect(term.name, term.step, "", len(np.unique(patients)), len(outcome), int(outcome.sum()))


def _levels(term: Factor, outcome: Floats, patients: Whole) -> tuple[list[Effect], list[Floats], list[str]]:
    labels = np.asarray(term.labels, dtype=np.str_)
    if labels.shape != (len(outcome),):
        raise ValueError(f"{term.name} must hold one label for each of {len(outcome)} units, not {labels.shape}")
    labels, remarks = _merged(term, labels, patients)
    levels, units = np.unique(labels, return_counts=True)
    reference = term.reference if term.reference is not None else str(levels[units.argmax()])
    if reference not in levels:
        raise ValueError(f"{term.name} must have units at its reference level {reference}, not 0")
    if len(levels) < 2:
        remarks.append(f"{term.name}: only {reference}, nothing to compare")
    baseline = len(np.unique(patients[labels == reference]))
    effects, columns = [], []
    for label in levels[levels != reference]:
        here = labels == label
        counts = len(np.unique(patients[here])), int(here.sum()), int(outcome[here].sum())
        thin = too_thin_to_compare((counts[0], baseline), int(outcome.sum()))
        effects.append(Effect(term.name, str(label), reference, *counts, withheld=thin))
        columns.append(here.astype(np.float64))
    return effects, columns, remarks


def _merged(term: Factor, labels: npt.NDArray[np.str_], patients: Whole) -> tuple[npt.NDArray[np.str_], list[str]]:
    if not term.merge_small:
        return labels, []
    small = [
        str(level)
        for level in np.unique(labels)
        if level != term.reference and len(np.unique(patients[labels == level])) < SMALL_LEVEL
    ]
    if not small:
        return labels, []
    merged = np.where(np.isin(labels, small), OTHER, labels.astype(np.object_)).astype(np.str_)
    return merged, [f"{term.name}: {', '.join(small)} counted as {OTHER}, fewer than {SMALL_LEVEL} patients each"]
