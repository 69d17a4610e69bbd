"""Two groups' shares regrown by one day against each other, patients drawn again over both. Knows numbers only."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.bootstrap import FEWEST_REPLICATES, Regrown, check_days, check_replicates, regrown
from audit.stats.clustered import too_thin_to_compare
from audit.stats.patient_types import flags_of, seed_of
from audit.stats.proportion import check_level
from audit.stats.replicates import Replicates, replicate_shares
from audit.stats.samples import samples_of


@dataclass(frozen=True)
class RegrownDifference:
    """The share regrown in the group less that among the others, by one day.

    group, others: each with its own interval. value, low, high: -1 to 1; None where not estimable.
    correlation: of both estimates over the replicates, not 0 where patients have sides in both groups.
    shared_patients: so many. replicates, seed, worst_gap: of the bootstrap.
    withheld: why the difference may not be shown, so that both intervals should stand side by side instead.
    """

    group: Regrown
    others: Regrown
    value: float | None
    low: float | None
    high: float | None
    correlation: float
    shared_patients: int
    replicates: int
    seed: int
    worst_gap: float
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def regrowth_difference(
    in_group: npt.ArrayLike,
    patient: npt.ArrayLike,
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    day: float = 365.0,
    replicates: int = FEWEST_REPLICATES,
    level: float = 0.95,
) -> RegrownDifference:
    """Difference of the shares regrown by `day`, with an interval that knows that patients may be in both groups.

    in_group: shape (n,), true or false per side. patient, left, right, replicates, level: as for `regrowth`.
    Patients are drawn over both groups together, each with all sides, and both curves are fitted again. The limits
    come from those of the two shares and the correlation r of the replicates:
    L = d - sqrt((pA - lA)^2 + (uB - pB)^2 - 2 r (pA - lA)(uB - pB)), U likewise, clipped to -1 and 1; so they are
    sound where nothing regrew in a group, which the spread of replicates alone would not be.
    Withheld where a share is, with fewer than ten patients in a group, and with fewer than five regrown sides in all.

    Zou GY, Donner A. Stat Med 2008;27:1693-1702.
    """
    check_level(level)
    check_replicates(replicates)
    asked = check_days([day])
    chosen = flags_of(in_group, np.shape(patient))
    samples, types = samples_of(patient, left, right, np.where(chosen, 0, 1), 2)
    seed = seed_of("difference", [sample.intervals for sample in samples], types)
    drawn: list[Replicates] | list[None] = [None, None]
    if any(not sample.withheld_at(day) for sample in samples):
        drawn = replicate_shares(samples, types, asked, replicates, np.random.default_rng(seed))
    group, others = (regrown(sample, day, found, 0, level) for sample, found in zip(samples, drawn, strict=True))
    correlation = _correlation(*drawn)
    reason = next((share.withheld for share in (group, others) if share.withheld), "")
    value, low, high = (None, None, None) if reason else _recovered(group, others, correlation)
    thin = too_thin_to_compare([sample.patients for sample in samples], sum(sample.event_sides for sample in samples))
    return RegrownDifference(
        group, others, value, low, high, correlation,
        sum(sample.patients for sample in samples) - types.patients, replicates if drawn[0] else 0, seed,
        max([sample.curve.gap for sample in samples] + [found.worst_gap for found in drawn if found]),
        reason or thin,
    )  # fmt: skip


def _correlation(group: Replicates | None, others: Replicates | None) -> float:
    if group is None or others is None:
        return 0.0
    known = group.known[:, 0] & others.known[:, 0]
    first, second = group.middle[known, 0], others.middle[known, 0]
    if len(first) < 2 or first.std() == 0 or second.std() == 0:
        return 0.0
    return float(np.corrcoef(first, second)[0, 1])


def _recovered(group: Regrown, others: Regrown, correlation: float) -> tuple[float | None, float | None, float | None]:
    rate_a, rate_b = group.share.middle, others.share.middle
    if rate_a is None or rate_b is None or group.low is None or group.high is None:
        return None, None, None
    if others.low is None or others.high is None:
        return None, None, None

    def reach(one: float, other: float) -> float:
        return math.sqrt(max(0.0, one * one + other * other - 2 * correlation * one * other))

    value = rate_a - rate_b
    low = value - reach(rate_a - group.low, others.high - rate_b)
    high = value + reach(group.high - rate_a, rate_b - others.low)
    return value, max(-1.0, low), min(1.0, high)
