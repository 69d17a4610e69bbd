"""Many small maximisations at once: the algorithm of `constrained_newton` on a stack of data sets.

Worth its length where numpy's calls cost more than its arithmetic: a bootstrap repeats one small fit a thousand
times. Knows numbers only.
"""

import numpy as np
import numpy.typing as npt

from audit.stats.constrained_newton import STEPS_PER_SET, TOLERANCE, maximise

Numbers = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

# What is left of a stack after so many rounds is finished row by row; most rows need three or four.
MOST_ROUNDS = 12
# Solutions of one quadratic approximation, each without the points that the one before made negative.
MOST_SOLUTIONS = 6


def maximise_stack(first: Whole, last: Whole, weight: Numbers, start: Numbers) -> tuple[Numbers, Numbers]:
    """The masses of every data set of a stack and their relative optimality gaps, to the same 1e-8 as `maximise`.

    first, last, weight: shape (b, k), a row for each data set, as for `maximise`; weight may be 0, and what first and
    last are there is of no account. start: shape (b, size), masses to begin with, above 0 in every run with weight.
    Gives masses of shape (b, size) and gaps of shape (b,). NotConverged (a ValueError) as `maximise`.
    """
    used = weight > 0
    begins, ends = np.where(used, first, 0), np.where(used, last, 0)
    masses, gaps = start / start.sum(axis=1, keepdims=True), np.full(len(weight), np.inf)
    rows = np.arange(len(weight))
    for _ in range(MOST_ROUNDS):
        mass, counts = masses[rows], weight[rows]
        places = _places(begins[rows], mass.shape[1] + 1), _places(ends[rows], mass.shape[1] + 1)
        total = counts.sum(axis=1)
        gradient = _gradients(*places, counts, mass)
        gaps[rows] = _gaps(gradient, mass, total)
        far = gaps[rows] > TOLERANCE
        if not far.any():
            return masses, gaps
        rows = rows[far]
        points = _points(gradient[far], mass[far], total[far])
        held = mass[far] * gradient[far] / total[far, None]  # the step of the EM algorithm
        masses[rows] = _on_points(points, held, begins[rows], ends[rows], counts[far])
    for row in rows.tolist():
        kept = used[row]
        found = maximise(first[row, kept], last[row, kept], weight[row, kept], start.shape[1], masses[row])
        masses[row], gaps[row] = found.mass, found.gap
    return masses, gaps


def _places(indices: Whole, length: int) -> Whole:
    """Indices into rows of this length as indices into all rows behind each other."""
    return indices + (np.arange(len(indices)) * length)[:, None]


def _cumulative(mass: Numbers) -> Numbers:
    reached = np.zeros((len(mass), mass.shape[1] + 1))
    np.cumsum(mass, axis=1, out=reached[:, 1:])
    return reached


def _gradients(begins: Whole, ends: Whole, weight: Numbers, mass: Numbers) -> Numbers:
    reached = _cumulative(mass)
    runs = reached.ravel()[ends] - reached.ravel()[begins]
    share = np.divide(weight, runs, out=np.zeros(runs.shape), where=weight > 0).ravel()
    changes = np.bincount(begins.ravel(), share, reached.size) - np.bincount(ends.ravel(), share, reached.size)
    gradients: Numbers = np.cumsum(changes.reshape(reached.shape), axis=1)[:, :-1]
    return gradients


def _gaps(gradient: Numbers, mass: Numbers, total: Numbers) -> Numbers:
    least = np.where(mass > 0, gradient, np.inf).min(axis=1)
    return np.asarray(np.maximum(gradient.max(axis=1) - total, total - least) / total)


def _points(gradient: Numbers, mass: Numbers, total: Numbers) -> Flags:
    """The points with mass, and those that would gain more than the points beside them."""
    rises, falls = np.ones(mass.shape, dtype=np.bool_), np.ones(mass.shape, dtype=np.bool_)
    np.greater(gradient[:, 1:], gradient[:, :-1], out=rises[:, 1:])
    np.greater_equal(gradient[:, :-1], gradient[:, 1:], out=falls[:, :-1])
    return (mass > 0) | (rises & falls & (gradient > total[:, None] * (1 + TOLERANCE / 10)))


def _on_points(points: Flags, mass: Numbers, begins: Whole, ends: Whole, weight: Numbers) -> Numbers:
    """A few Newton steps of each row on its own points alone; rows with fewer points than others are filled up."""
    rows = len(points)
    before = np.zeros((rows, points.shape[1] + 1), dtype=np.int64)
    np.cumsum(points, axis=1, out=before[:, 1:])
    own = before[:, -1]
    side = int(own.max()) + 1
    cells = np.take_along_axis(before, begins, 1) * side + np.take_along_axis(before, ends, 1)
    counts = np.bincount(_places(cells, side * side).ravel(), weight.ravel(), rows * side * side)
    table = counts.astype(np.float64, copy=False).reshape(rows, side, side)
    table[:, 0, 0] = 0  # runs without weight
    row, point = np.nonzero(points)
    place = before[row, point]
    held = np.zeros((rows, side - 1))
    held[row, place] = mass[row, point]
    total = weight.sum(axis=1)
    for _ in range(STEPS_PER_SET):
        held, slope = _newton_step(held, table, own, total)
        if (slope < TOLERANCE / 10 * total).all():
            break
    spread = np.zeros(points.shape)
    spread[row, point] = held[row, place]
    return spread


def _newton_step(mass: Numbers, table: Numbers, own: Whole, total: Numbers) -> tuple[Numbers, Numbers]:
    """As `constrained_newton` does it; also the gain that the slope promised. A row that would not gain stays."""
    filled = table > 0
    runs = _runs(mass, filled)
    share = table / runs
    gradient = np.cumsum(share.sum(axis=2) - share.sum(axis=1), axis=1)[:, :-1]
    share /= runs
    sums = np.cumsum(np.cumsum(share[:, :-1], axis=1)[:, :, ::-1], axis=2)[:, :, ::-1][:, :, 1:]
    # Below the diagonal the sums hold too much, so the lesser of both is the product of the two columns.
    products = np.minimum(sums, sums.transpose(0, 2, 1))
    target = _best_of_approximation(products, 2 * gradient - total[:, None], np.arange(mass.shape[1]) < own[:, None])
    weight = target.sum(axis=1, keepdims=True)
    direction = np.divide(target, weight, out=mass.copy(), where=weight > 0) - mass
    slope = (gradient * direction).sum(axis=1)
    direction[slope <= 0] = 0
    return _along(mass, direction, slope, runs, table, filled, total), np.maximum(slope, 0)


def _along(
    mass: Numbers, direction: Numbers, slope: Numbers, runs: Numbers, table: Numbers, filled: Flags, total: Numbers
) -> Numbers:
    """The whole step, or the first half, quarter, ... of it that gains a third of what the slope promises."""
    moved = mass.copy()
    rows, part = np.arange(len(mass)), 1.0
    while len(rows) and part > 1e-12:
        some = slice(None) if len(rows) == len(mass) else rows
        tried = mass[some] + part * direction[some]
        beyond = _runs(tried, filled[some])
        possible = beyond.min(axis=(1, 2)) > 0
        growth = np.log(np.maximum(beyond / runs[some], 1e-300))
        gain = np.einsum("ijk,ijk->i", table[some], growth)
        rises = possible & (gain >= part * slope[some] / 3 - 1e-14 * total[some])
        moved[rows[rises]] = tried[rises]
        rows, part = rows[~rises], part / 2
    return moved


def _runs(mass: Numbers, filled: Flags) -> Numbers:
    reached = _cumulative(mass)
    return np.where(filled, reached[:, None, :] - reached[:, :, None], 1.0)


def _best_of_approximation(products: Numbers, linear: Numbers, free: Flags) -> Numbers:
    """For each row a q >= 0 with a small q'Hq / 2 - linear'q: solved, and again without the points made negative.

    Not always the least, because a point left out does not come back here; the next round would bring it back.
    """
    best = np.zeros(linear.shape)
    rows, free = np.arange(len(linear)), free.copy()
    diagonal = np.arange(linear.shape[1])
    for _ in range(MOST_SOLUTIONS):
        matrix = np.where(free[:, :, None] & free[:, None, :], products[rows], 0.0)
        matrix[:, diagonal, diagonal] += ~free
        found = _solved(matrix, np.where(free, linear[rows], 0.0)[:, :, None])[:, :, 0]
        best[rows] = np.maximum(found, 0)
        negative = found < 0
        again = negative.any(axis=1)
        if not again.any():
            break
        rows, free = rows[again], (free & ~negative)[again]
    return best


def _solved(matrix: Numbers, right: Numbers) -> Numbers:
    """Solutions of all rows; with a little added to the diagonals where rounding made one singular."""
    try:
        return np.asarray(np.linalg.solve(matrix, right))
    except np.linalg.LinAlgError:
        diagonal = np.arange(matrix.shape[1])
        matrix[:, diagonal, diagonal] *= 1 + 1e-10
        return np.asarray(np.linalg.solve(matrix, right))
