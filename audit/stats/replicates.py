"""Patients drawn again and again, and the curve of every draw. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from audit.stats.constrained_newton import covering, maximise
from audit.stats.intervals import Days, Flags, Support, maximal_intersections
from audit.stats.patient_types import PatientTypes
from audit.stats.samples import Sample
from audit.stats.stacked_newton import maximise_stack
from audit.stats.turnbull import bounds

# Fits with up to so many masses are quicker in a stack; with more, one by one is as quick.
STACKED_UP_TO = 20
# Draws that make a stack: about as many as stay in the processor's cache.
STACK = 100


@dataclass(frozen=True, eq=False)
class Replicates:
    """middle, known: shape (replicates, days), the middle of the bounds, and whether there was an estimate for the
    day at all (middle is 0 where not). worst_gap: the largest optimality gap of the fits."""

    middle: Days
    known: Flags
    worst_gap: float


def replicate_shares(
    samples: Sequence[Sample], types: PatientTypes, days: Sequence[float], count: int, random: np.random.Generator
) -> list[Replicates]:
    """Draws as many patients as there are, with replacement and each with all sides, `count` times, and fits every
    group again from its maximal intersections on.

    samples: one or more groups of sides. types: of the patients over all groups, intervals numbered through.
    days: finite, 0 or later. Each fit begins with the group's own estimate and ends at the optimality condition.
    A draw without any side of a group has no estimate there.
    """
    wanted = np.array(days, dtype=np.float64)
    edges = np.cumsum([0, *(len(sample.intervals.left) for sample in samples)]).tolist()
    chance = types.multiplicity / types.patients
    pieces: list[list[Replicates]] = [[] for _ in samples]
    size = STACK if all(map(_stacks, samples)) else 1
    for begin in range(0, count, size):
        draws = [random.multinomial(types.patients, chance) for _ in range(min(size, count - begin))]
        weights = np.array([types.interval_weights(drawn, edges[-1]) for drawn in draws])
        for group, sample in enumerate(samples):
            own = weights[:, edges[group] : edges[group + 1]]
            pieces[group].append(_shares(sample, own, wanted))
    return [_joined(group) for group in pieces]


def fit_draws(sample: Sample, weights: Days) -> tuple[Sequence[Support], Sequence[Days], float]:
    """The fit of each draw, weights of shape (draws, intervals), each with some above 0.

    Gives for each draw its maximal intersections and their masses (more entries than intersections are 0), and the
    largest relative optimality gap.
    """
    supports = [maximal_intersections(sample.intervals, weight > 0) for weight in weights]
    masses, worst = (_together if _stacks(sample) else _one_by_one)(sample, supports, weights)
    return supports, masses, worst


def _stacks(sample: Sample) -> bool:
    return len(sample.mass) <= STACKED_UP_TO


def _shares(sample: Sample, weights: Days, days: Days) -> Replicates:
    middle, known = np.zeros((len(weights), len(days))), np.zeros((len(weights), len(days)), dtype=np.bool_)
    rows = np.flatnonzero(weights.any(axis=1))
    supports, masses, worst = fit_draws(sample, weights[rows])
    for row, support, mass in zip(rows.tolist(), supports, masses, strict=True):
        lower, upper = bounds(support.start, support.end, mass[: len(support.end)], days)
        known[row] = (days <= support.start[-1]) | (support.end[-1] < np.inf)
        middle[row] = np.where(known[row], (lower + upper) / 2, 0.0)
    return Replicates(middle, known, worst)


def _one_by_one(sample: Sample, supports: Sequence[Support], weights: Days) -> tuple[Sequence[Days], float]:
    fits = []
    for support, weight in zip(supports, weights, strict=True):
        kept = weight > 0
        size = len(support.ends)
        fits.append(maximise(support.first[kept], support.last[kept], weight[kept], size, _start(sample, support)))
    return [fit.mass for fit in fits], max((fit.gap for fit in fits), default=0.0)


def _together(sample: Sample, supports: Sequence[Support], weights: Days) -> tuple[Sequence[Days], float]:
    if not supports:
        return [], 0.0
    starts = np.zeros((len(supports), max(len(support.ends) for support in supports)))
    for start, support, weight in zip(starts, supports, weights, strict=True):
        kept, size = weight > 0, len(support.ends)
        start[:size] = covering(support.first[kept], support.last[kept], size, _start(sample, support))
    first, last = np.array([support.first for support in supports]), np.array([support.last for support in supports])
    masses, gaps = maximise_stack(first, last, weights, starts)
    return list(masses), float(gaps.max())


def _start(sample: Sample, support: Support) -> Days:
    """The sample's own masses, each moved to the next intersection of the draw."""
    size = len(support.ends)
    nearest = np.minimum(np.searchsorted(support.ends, sample.places), size - 1)
    return np.bincount(nearest, sample.mass, size).astype(np.float64)


def _joined(pieces: Sequence[Replicates]) -> Replicates:
    return Replicates(
        np.concatenate([piece.middle for piece in pieces]),
        np.concatenate([piece.known for piece in pieces]),
        max(piece.worst_gap for piece in pieces),
    )
