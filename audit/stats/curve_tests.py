"""Do two groups regrow at the same pace? Log-rank scores for interval-censored times. Knows numbers only."""

from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from audit.stats.clustered import too_thin_to_compare
from audit.stats.intervals import Days, Support, Whole, aggregate_rows
from audit.stats.patient_types import flags_of, patient_numbers, patient_types, seed_of
from audit.stats.samples import counted
from audit.stats.turnbull import fit

PERMUTATIONS = 9_999
# Scores held at once while permuting: 32 MB.
HELD = 4_000_000
# Types with so many patients are common.
COMMON = 8


class Scores(StrEnum):
    """Which log-rank scores: two ways to carry the log-rank test to intervals."""

    SUN = "Sun 1996"
    FINKELSTEIN = "Finkelstein 1986"


@dataclass(frozen=True)
class CurveTest:
    """The comparison of two groups by permutation of patients.

    statistic: sum of the scores of the sides in the group; above 0 where it regrows faster. p: two-sided.
    patients: with a telling interval, in the group and outside. permutations, seed: of the p-value.
    statistic and p are None where `withheld` says why; permutations and seed are 0 then.
    """

    statistic: float | None
    p: float | None
    patients: tuple[int, int]
    permutations: int
    seed: int
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class SideTest:
    """The same test with sides taken as independent, z on the normal scale: a check against other programs only."""

    z: float
    p: float


def permutation_test(
    in_group: npt.ArrayLike,
    patient: npt.ArrayLike,
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    scores: Scores = Scores.SUN,
    permutations: int = PERMUTATIONS,
) -> CurveTest:
    """Two-sided test that the sides in the group regrow like the others; whole patients change groups.

    in_group: shape (n,), true or false per side. patient: shape (n,). left, right: shape (n,), as for `npmle`.
    permutations: at least 999. U = sum of c_i (z_i - mean z) with scores c of the pooled estimate;
    p = (b + 1) / (B + 1), b of B permutations with |U| at least as large.
    Withheld where patients have sides in both groups (then only the interval of the difference can be given), below
    ten patients in a group, and below five regrown sides in all. ValueError for other input.

    Sun J. Stat Med 1996;15:1387-1395; Finkelstein DM. Biometrics 1986;42:845-854; Fay MP, Shaw PA. J Stat Softw
    2010;36(2). Referee: fixtures/reference/curves.json (scores), a seeded simulation in the tests (size).
    """
    if permutations < 999:
        raise ValueError(f"permutations must be at least 999, not {permutations}")
    intervals, index = aggregate_rows(left, right)
    numbers, chosen = patient_numbers(patient, len(index)), flags_of(in_group, (len(index),))
    kept = index >= 0
    index, numbers, chosen = index[kept], numbers[kept], chosen[kept]
    inside, outside = np.unique(numbers[chosen]), np.unique(numbers[~chosen])
    sizes = len(inside), len(outside)
    both = len(np.intersect1d(inside, outside))
    events = int(np.count_nonzero(np.isfinite(intervals.right[index])))
    reason = f"no test: sides in both groups in {counted(both)}" if both else too_thin_to_compare(sizes, events)
    if reason:
        return CurveTest(None, None, sizes, 0, 0, reason)
    _, support, mass = fit(intervals)
    alike = _alike(support, mass)
    types = patient_types(numbers, alike[index])
    seed = seed_of(f"permutation {scores}", [intervals], types)
    score = np.zeros(int(alike.max()) + 1)
    score[alike] = interval_scores(support, mass, scores)
    score -= float(score[alike] @ intervals.weight) / len(index)
    of_type = np.bincount(types.owner, types.count * score[types.interval], len(types.multiplicity)).astype(np.float64)
    statistic = float(of_type[types.patient_type[inside]].sum())
    extreme = _extreme(of_type, types.multiplicity, sizes[0], statistic, permutations, np.random.default_rng(seed))
    return CurveTest(statistic, (extreme + 1) / (permutations + 1), sizes, permutations, seed)


def side_test(
    in_group: npt.ArrayLike, left: npt.ArrayLike, right: npt.ArrayLike, scores: Scores = Scores.SUN
) -> SideTest:
    """The test with each side as a unit of its own and the permutation variance, on the normal scale.

    Variance of U: sum (c - mean c)^2 / (n - 1) * sum (z - mean z)^2. Not for clustered sides: only to compare with
    published values. ValueError where nothing varies.
    """
    intervals, index = aggregate_rows(left, right)
    chosen = flags_of(in_group, (len(index),))[index >= 0]
    _, support, mass = fit(intervals)
    score = interval_scores(support, mass, scores)[index[index >= 0]]
    z = chosen - chosen.mean()
    variance = score.var(ddof=1) * float(z @ z)
    if not variance > 0:
        raise ValueError("in_group must hold sides of both kinds with different intervals")
    statistic = float(score @ z) / float(np.sqrt(variance))
    return SideTest(statistic, 2 * NormalDist().cdf(-abs(statistic)))


def interval_scores(support: Support, mass: Days, scores: Scores = Scores.SUN) -> Days:
    """The score of each interval of a fit: high where it lies early.

    With S after each maximal intersection, hazards p_j / S_(j-1) and H their sum, Sun's score of (L, R] is
    (S(R) H(R) - S(L) H(L)) / (S(L) - S(R)); Finkelstein's has -log S for H. 0 H = 0 where S = 0.
    """
    survival = np.append(np.cumsum(mass[::-1])[::-1], 0.0)
    survival /= survival[0]
    lived = survival > 0
    if scores is Scores.SUN:
        hazard = np.append(0.0, np.cumsum(mass / np.where(lived[:-1], survival[:-1], 1.0)))
    else:
        hazard = -np.log(np.where(lived, survival, 1.0))
    risk = np.where(lived, survival * hazard, 0.0)
    found: Days = (risk[support.last] - risk[support.first]) / (survival[support.first] - survival[support.last])
    return found


def _alike(support: Support, mass: Days) -> Whole:
    """For each interval a number that intervals with the same masses, and so the same score, share."""
    before = np.append(0, np.cumsum(mass > 0))
    return np.unique(before[support.first] * (before[-1] + 1) + before[support.last], return_inverse=True)[1]


def _extreme(
    of_type: Days, multiplicity: Whole, chosen: int, statistic: float, permutations: int, random: np.random.Generator
) -> int:
    """How many permutations are at least as far from 0: `chosen` of all patients are drawn without replacement.

    Of common types it is drawn how many there are; rare ones are shuffled one by one, which is quicker there.
    """
    common = multiplicity >= COMMON
    rare = np.repeat(of_type[~common], multiplicity[~common])
    kinds = np.append(multiplicity[common], len(rare))
    bound = abs(statistic) - 1e-10 * float(np.abs(of_type) @ multiplicity)
    piece = max(1, HELD // max(len(kinds), len(rare)))
    extreme = 0
    for begin in range(0, permutations, piece):
        size = min(piece, permutations - begin)
        drawn = random.multivariate_hypergeometric(kinds, chosen, size, method="marginals")
        sums = np.zeros((size, len(rare) + 1))
        np.cumsum(random.permuted(np.broadcast_to(rare, (size, len(rare))), axis=1), axis=1, out=sums[:, 1:])
        found = drawn[:, :-1] @ of_type[common] + sums[np.arange(size), drawn[:, -1]]
        extreme += int(np.count_nonzero(np.abs(found) >= bound))
    return extreme
