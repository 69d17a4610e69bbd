"""Maximum likelihood of probabilities of which every observation sees the sum of a run. Knows numbers only.

Observation i has weight w_i and says that one of the points first_i .. last_i - 1 happened. Wanted are the masses
p >= 0, sum p = 1, that maximise sum_i w_i log P_i, P_i = sum of p over the run. They are unique where every point is
the last of some run, as the maximal intersections of intervals are: P is unique because the logarithm is strictly
concave, and the runs, ordered by their last point, make a triangular system for p.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dpotrf, dtrtrs

Numbers = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

# Stop only at the maximum: no derivative further from its value there than this part of the total weight.
TOLERANCE = 1e-8
MOST_STEPS = 2_000
# Newton steps on one set of points before all points are looked at again; three was quickest from 2,000 to 3,000,000
# observations.
STEPS_PER_SET = 3


class NotConverged(ValueError):
    """The maximum was not reached, so there is no estimate."""


@dataclass(frozen=True, eq=False)
class Maximum:
    """mass: shape (size,), sum 1. gap: how far the derivatives are from their values at the maximum, as a part of
    the total weight. steps: Newton steps taken."""

    mass: Numbers
    gap: float
    steps: int


class Seen(NamedTuple):
    """Observations that see the same of a set of points, counted: their runs first .. last - 1 and their weights.

    side: the number of points and 1.
    """

    first: Whole
    last: Whole
    weight: Numbers
    side: int


def maximise(first: Whole, last: Whole, weight: Numbers, size: int, start: Numbers | None = None) -> Maximum:
    """The masses that maximise the likelihood, to a relative optimality gap of 1e-8.

    first, last: shape (k,), 0 <= first < last <= size. weight: shape (k,), above 0.
    start: shape (size,), masses to begin with, such as those of similar data; points are added where a run has none.
    With g_j = sum of w_i / P_i over the runs that hold point j and n = sum of w, the maximum is where g_j <= n for
    every j and g_j = n where p_j > 0. Each round takes one step of the EM algorithm, adds the best point between any
    two that hold mass, and solves the quadratic approximation with p >= 0, halving the step until the likelihood
    rises. Observations that see the same points of the current set are counted together: their table of counts by
    first and last point gives all products of columns by cumulative sums in both directions.
    NotConverged (a ValueError) after 2,000 steps.

    Wang Y. J R Stat Soc B 2007;69:185-198; Wang Y. Comput Stat Data Anal 2008;52:2388-2402.
    """
    total = float(weight.sum())
    mass = covering(first, last, size, start)
    steps = 0
    while True:
        gradient = _gradient(first, last, weight / run_masses(first, last, mass), size)
        gap = _gap(gradient, mass, total)
        if gap <= TOLERANCE:
            return Maximum(mass, gap, steps)
        if steps >= MOST_STEPS:
            raise NotConverged(f"optimality gap must be at most {TOLERANCE:g} after {MOST_STEPS} steps, not {gap:g}")
        points = _points(gradient, mass, total)
        held = mass[points] * gradient[points] / total  # the step of the EM algorithm
        points, held, taken = _on_points(points, held, _seen(first, last, weight, points, size), total)
        steps += taken
        mass = np.zeros(size)
        mass[points] = held


def hitting_points(first: Whole, last: Whole, size: int) -> Whole:
    """The fewest points such that every run holds one: always the last point of the earliest run without any."""
    latest = np.full(size + 1, -1)
    np.maximum.at(latest, last, first)
    points, previous = [], -1
    for end in np.flatnonzero(latest >= 0).tolist():
        if latest[end] > previous:
            previous = end - 1
            points.append(previous)
    return np.array(points, dtype=np.int64)


def run_masses(first: Whole, last: Whole, mass: Numbers) -> Numbers:
    """P_i, the mass that each run holds."""
    cumulative = _cumulative(mass)
    return cumulative[last] - cumulative[first]


def covering(first: Whole, last: Whole, size: int, start: Numbers | None) -> Numbers:
    """Masses to begin with, of sum 1, so that no run is without: `start`, with some added if need be."""
    mass = np.zeros(size) if start is None else start.copy()
    if start is None or not (run_masses(first, last, mass) > 0).all():
        points = hitting_points(first, last, size)
        mass[points] += 1 / len(points) if start is None else 0.01 / len(points)
    mass /= mass.sum()
    return mass


def _cumulative(mass: Numbers) -> Numbers:
    cumulative = np.zeros(len(mass) + 1)
    np.cumsum(mass, out=cumulative[1:])
    return cumulative


def _gradient(first: Whole, last: Whole, share: Numbers, size: int) -> Numbers:
    """g_j, the sum over the runs that hold point j of `share`, the weight of each divided by its mass."""
    gradient: Numbers = np.cumsum(np.bincount(first, share, size + 1) - np.bincount(last, share, size + 1))[:size]
    return gradient


def _gap(gradient: Numbers, mass: Numbers, total: float) -> float:
    held = gradient[mass > 0]
    return float(max(gradient.max() - total, total - held.min()) / total)


def _points(gradient: Numbers, mass: Numbers, total: float) -> Whole:
    """The points with mass, and those that would gain more than the points beside them."""
    rises, falls = np.ones(len(mass), dtype=np.bool_), np.ones(len(mass), dtype=np.bool_)
    np.greater(gradient[1:], gradient[:-1], out=rises[1:])
    np.greater_equal(gradient[:-1], gradient[1:], out=falls[:-1])
    return np.flatnonzero((mass > 0) | (rises & falls & (gradient > total * (1 + TOLERANCE / 10))))


def _seen(first: Whole, last: Whole, weight: Numbers, points: Whole, size: int) -> Seen:
    """Observations counted by what they see of these points: how many lie before their run and before its end."""
    before = np.zeros(size + 1, dtype=np.int64)
    before[points + 1] = 1
    before = np.cumsum(before)
    side = len(points) + 1
    table = np.bincount(before[first] * side + before[last], weight, side * side)
    cells = np.flatnonzero(table > 0)
    return Seen(*np.divmod(cells, side), table[cells].astype(np.float64, copy=False), side)


def _on_points(points: Whole, mass: Numbers, seen: Seen, total: float) -> tuple[Whole, Numbers, int]:
    """A few Newton steps on these points alone; those that lose their mass are left out of the next."""
    steps, gain = 0, np.inf
    while steps < STEPS_PER_SET and gain >= TOLERANCE / 10 * total:
        mass, gain = _newton_step(mass, seen, total)
        steps += 1
        kept = mass > 0
        if not kept.all():
            place = np.concatenate(([0], np.cumsum(kept)))
            points, mass = points[kept], mass[kept]
            seen = Seen(place[seen.first], place[seen.last], seen.weight, len(points) + 1)
    return points, mass, steps


def _newton_step(mass: Numbers, seen: Seen, total: float) -> tuple[Numbers, float]:
    """From these masses towards the best of the quadratic approximation; also the gain that the slope promised."""
    runs = run_masses(seen.first, seen.last, mass)
    share = seen.weight / runs
    gradient = _gradient(seen.first, seen.last, share, len(mass))
    products = _products(seen, share / runs)
    for solve in (_without_negatives, _least):
        target = solve(products, 2 * gradient - total)
        direction = target / target.sum() - mass
        slope = float(gradient @ direction)
        if slope > 0:
            break
    part = 1.0
    while part > 1e-12:
        moved = mass + part * direction
        beyond = run_masses(seen.first, seen.last, moved)
        if beyond.min() > 0:
            gain = float(seen.weight @ np.log(beyond / runs))
            if gain >= part * slope / 3 - 1e-14 * total:
                return moved, slope
        part /= 2
    return mass, 0.0


def _products(seen: Seen, parts: Numbers) -> Numbers:
    """Products of the columns j <= l of A, weighted: sum over the runs that begin at or before j and end after l."""
    table = np.bincount(seen.first * seen.side + seen.last, parts, seen.side**2).astype(np.float64, copy=False)
    by_first = np.cumsum(table.reshape(seen.side, seen.side)[:-1], axis=0)
    return np.asfortranarray(np.cumsum(by_first[:, ::-1], axis=1)[:, ::-1][:, 1:])


def _without_negatives(products: Numbers, linear: Numbers) -> Numbers:
    """A q >= 0 with a small q'Hq / 2 - linear'q: solved, and again without the points that came out negative.

    Mostly the least; a point left out too early comes back in the next round. Only the upper triangle of H is read.
    """
    best, kept = np.zeros(len(linear)), np.arange(len(linear))
    matrix, wanted = products, linear
    while True:
        factor = _cholesky(matrix)
        half, _ = dtrtrs(factor, wanted, lower=0, trans=1)
        found, _ = dtrtrs(factor, half, lower=0)
        positive = found > 0
        if positive.all():
            best[kept] = found
            return best
        kept = kept[positive]
        if not len(kept):
            return _least(products, linear)
        matrix, wanted = matrix[positive][:, positive], wanted[positive]


def _least(products: Numbers, linear: Numbers) -> Numbers:
    """The q >= 0 with the least q'Hq / 2 - linear'q, as non-negative least squares."""
    from scipy.optimize import nnls

    factor = np.triu(_cholesky(products))
    half, _ = dtrtrs(factor, linear, lower=0, trans=1)
    try:
        return np.asarray(nnls(factor, half, maxiter=30 * len(linear))[0])
    except RuntimeError as problem:
        raise NotConverged(f"quadratic approximation in {len(linear)} masses was not solved: {problem}") from problem


def _cholesky(matrix: Numbers) -> Numbers:
    """The upper factor, with as much added to the diagonal as rounding makes necessary; nothing useful below."""
    factor, failed = dpotrf(matrix, lower=0, clean=0)
    ridge = 1e-13
    while failed and ridge < 1:
        ridge *= 10
        factor, failed = dpotrf(matrix + np.diag(ridge * matrix.diagonal()), lower=0, clean=0)
    return np.asarray(factor)
