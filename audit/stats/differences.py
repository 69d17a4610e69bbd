"""Two proportions against each other: difference, ratio and odds ratio, with intervals. Knows numbers only."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from audit.stats.clustered import rao_scott_wilson, too_thin_to_compare
from audit.stats.proportion import Proportion, check_counts, check_table, normal_quantile, score_limits


class Measure(StrEnum):
    """What of the first group stands against the second."""

    DIFFERENCE = "difference"
    RATIO = "ratio"
    ODDS_RATIO = "odds ratio"


class Approach(StrEnum):
    """How the limits of a comparison were obtained."""

    NEWCOMBE = "Newcombe hybrid score"
    MIETTINEN_NURMINEN = "Miettinen-Nurminen score"
    MEE_KOOPMAN = "score without N / (N - 1) (Mee; Koopman)"
    KATZ = "logarithm (Katz)"
    MOVER = "recovered from both intervals (MOVER), clustered on patients"


@dataclass(frozen=True)
class Comparison:
    """The first group against the second, with the interval; says itself whether it may be shown.

    value: difference of proportions (-1 to 1), or a ratio (0 to infinity: no event in the second group).
    low, high: limits on the same scale; `high` infinity means no upper limit.
    value, low and high are None where it is not estimable; `withheld` then says so, and also where they exist but the
    groups are too small to be compared, so that both intervals should stand side by side instead.
    """

    measure: Measure
    approach: Approach
    value: float | None
    low: float | None
    high: float | None
    level: float
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld

    @property
    def unbounded(self) -> bool:
        """Whether there is no upper limit."""
        return self.high == math.inf


def newcombe_difference(events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95) -> Comparison:
    """Difference of two independent proportions with the interval made of both Wilson intervals.

    events, total: whole numbers of each group, 0 <= events <= total, total >= 1; units are patients.
    level: two-sided, between 0 and 1. L = d - sqrt((p1 - l1)^2 + (u2 - p2)^2), U likewise; within -1 and 1, and
    valid without events too. Withheld with fewer than 10 in a group or 5 events in all. ValueError if out of range.

    Method 10 of Newcombe RG. Stat Med 1998;17:873-890. Referee: fixtures/reference/differences.json
    """
    check_table(events_1, total_1, events_2, total_2, level)
    first, second = (
        (events / total, *score_limits(events, total, level))
        for events, total in ((events_1, total_1), (events_2, total_2))
    )
    low, high = _recovered_difference(first, second, 0.0)
    thin = too_thin(events_1, total_1, events_2, total_2)
    return Comparison(Measure.DIFFERENCE, Approach.NEWCOMBE, first[0] - second[0], low, high, level, thin)


def katz_ratio(events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95) -> Comparison:
    """Ratio of two independent proportions with the interval on the logarithm, as most papers print it.

    Takes, withholds and refuses the same as `newcombe_difference`. Not estimable without an event in either group.

    Katz D, Baptista J, Azen SP, Pike MC. Biometrics 1978;34:469-474 (from memory, unverified).
    Referee: fixtures/reference/differences.json
    """
    check_table(events_1, total_1, events_2, total_2, level)
    for place, events in (("first", events_1), ("second", events_2)):
        if events == 0:
            return not_estimable(Measure.RATIO, Approach.KATZ, level, f"no event in the {place} group")
    value = (events_1 / total_1) / (events_2 / total_2)
    reach = normal_quantile(level) * math.sqrt(1 / events_1 - 1 / total_1 + 1 / events_2 - 1 / total_2)
    low, high = value * math.exp(-reach), value * math.exp(reach)
    thin = too_thin(events_1, total_1, events_2, total_2)
    return Comparison(Measure.RATIO, Approach.KATZ, value, low, high, level, thin)


def standard_error_from_limits(low: float, high: float, level: float = 0.95) -> float:
    """Standard error of the logarithm of a ratio, read back from printed limits: log(high / low) / (2 z).

    low, high: above 0, low below high. Refuses with ValueError others. Common practice, no source.
    """
    if not 0 < low < high < math.inf:
        raise ValueError(f"low and high must be finite, above 0 and in order, not {low} and {high}")
    return math.log(high / low) / (2 * normal_quantile(level))


def mover_difference(first: Proportion, second: Proportion, correlation: float = 0.0) -> Comparison:
    """Difference of two proportions recovered from their own intervals, clustered ones above all.

    first, second: with limits of one level. correlation: of both rates, -1 to 1; 0 where no patient is in both groups.
    L = d - sqrt((pA - lA)^2 + (uB - pB)^2 - 2 r (pA - lA)(uB - pB)), U likewise, clipped to -1 and 1.
    Not estimable where a group has no interval; withheld with fewer than 10 patients in a group or 5 events in all.
    Refuses with ValueError different levels and a correlation out of range.

    Zou GY, Donner A. Stat Med 2008;27:1693-1702.
    """
    limits_1, limits_2, reason = _to_compare(first, second, correlation)
    if limits_1 is None or limits_2 is None:
        return Comparison(Measure.DIFFERENCE, Approach.MOVER, None, None, None, first.level, reason)
    low, high = _recovered_difference(limits_1, limits_2, correlation)
    value = limits_1[0] - limits_2[0]
    return Comparison(Measure.DIFFERENCE, Approach.MOVER, value, low, high, first.level, reason)


def mover_ratio(first: Proportion, second: Proportion, correlation: float = 0.0) -> Comparison:
    """Ratio of two proportions recovered from their own intervals.

    Takes, withholds and refuses the same as `mover_difference`. No event in the second group: not estimable. Lower
    limit 0 in the second group: no upper limit.

    Donner A, Zou GY. Stat Methods Med Res 2012;21:347-359.
    """
    limits_1, limits_2, reason = _to_compare(first, second, correlation)
    if limits_1 is not None and limits_2 is not None and limits_2[0] == 0:
        limits_2, reason = None, "not estimable: no event in the second group"
    if limits_1 is None or limits_2 is None:
        return Comparison(Measure.RATIO, Approach.MOVER, None, None, None, first.level, reason)
    low, high = _recovered_ratio(limits_1, limits_2, correlation)
    return Comparison(Measure.RATIO, Approach.MOVER, limits_1[0] / limits_2[0], low, high, first.level, reason)


def rate_correlation(
    events_a: Sequence[int], totals_a: Sequence[int], events_b: Sequence[int], totals_b: Sequence[int]
) -> float:
    """Correlation of the rates of two groups that share patients.

    One whole number per patient in all four, in the same order; total 0 where a patient has no unit in that group.
    With u = (y - p m) / M per patient and group, r = sum uA uB / sqrt(sum uA^2 * sum uB^2); 0 where a sum is 0.
    Refuses with ValueError different lengths, counts out of range and a group without units.

    Zou GY, Donner A. Stat Med 2008;27:1693-1702.
    """
    first, second = _scores(events_a, totals_a, "a"), _scores(events_b, totals_b, "b")
    if len(first) != len(second):
        raise ValueError(f"events_b must have as many entries as events_a, {len(first)}, not {len(second)}")
    size = math.sqrt(sum(u * u for u in first) * sum(u * u for u in second))
    shared = sum(u * v for u, v in zip(first, second, strict=True))
    return max(-1.0, min(1.0, shared / size)) if size > 0 else 0.0


def clustered_comparison(
    events_a: Sequence[int],
    totals_a: Sequence[int],
    events_b: Sequence[int],
    totals_b: Sequence[int],
    level: float = 0.95,
) -> tuple[Comparison, Comparison]:
    """Difference and ratio of two groups of units that belong to patients, who may have units in both.

    Takes and refuses the same as `rate_correlation`; the groups' own intervals are those of `rao_scott_wilson`.
    """
    correlation = rate_correlation(events_a, totals_a, events_b, totals_b)
    first = rao_scott_wilson(*_present(events_a, totals_a), level)
    second = rao_scott_wilson(*_present(events_b, totals_b), level)
    return mover_difference(first, second, correlation), mover_ratio(first, second, correlation)


def not_estimable(measure: Measure, approach: Approach, level: float, why: str) -> Comparison:
    """A comparison without numbers; `why` is a few words for print."""
    return Comparison(measure, approach, None, None, None, level, f"not estimable: {why}")


def too_thin(events_1: int, total_1: int, events_2: int, total_2: int) -> str:
    """Why two groups of independent units may not be compared, in words; empty where they may."""
    return too_thin_to_compare((total_1, total_2), events_1 + events_2)


Limits = tuple[float, float, float]  # rate, low, high


def _recovered_difference(first: Limits, second: Limits, correlation: float) -> tuple[float, float]:
    (rate_1, low_1, high_1), (rate_2, low_2, high_2) = first, second

    def reach(one: float, other: float) -> float:
        return math.sqrt(max(0.0, one * one + other * other - 2 * correlation * one * other))

    value = rate_1 - rate_2
    low, high = value - reach(rate_1 - low_1, high_2 - rate_2), value + reach(high_1 - rate_1, rate_2 - low_2)
    return max(-1.0, low), min(1.0, high)


def _recovered_ratio(first: Limits, second: Limits, correlation: float) -> tuple[float, float]:
    (rate_1, low_1, high_1), (rate_2, low_2, high_2) = first, second
    both = rate_1 * rate_2

    def solve(limit_1: float, limit_2: float) -> tuple[float, float, float, float]:
        # Roots of D t^2 - 2 k t + c = 0.
        k = both - correlation * (rate_1 - limit_1) * (limit_2 - rate_2)
        c, d = limit_1 * (2 * rate_1 - limit_1), limit_2 * (2 * rate_2 - limit_2)
        return k, c, d, math.sqrt(max(0.0, k * k - c * d))

    k, c, _, root = solve(low_1, high_2)
    # The smaller root as c / (k + root): the same as (k - root) / D, and steady where D is near 0.
    low = 0.0 if low_1 == 0 else max(0.0, c / (k + root))
    if low_2 == 0:
        return low, math.inf
    k, _, d, root = solve(high_1, low_2)
    return low, (k + root) / d


def _scores(events: Sequence[int], totals: Sequence[int], group: str) -> list[float]:
    if len(events) != len(totals):
        raise ValueError(f"events_{group} must have as many entries as totals_{group}, {len(totals)}, "
                         f"not {len(events)}")  # fmt: skip
    for place, (found, total) in enumerate(zip(events, totals, strict=True)):
        if total == 0 and found == 0:
            continue
        try:
            check_counts(found, total)
        except ValueError as problem:
            raise ValueError(f"group {group}, patient {place}: {problem}") from problem
    size = int(sum(totals))
    if size == 0:
        raise ValueError(f"totals_{group} must hold at least 1 unit, not 0")
    rate = int(sum(events)) / size
    return [(y - rate * m) / size for y, m in zip(events, totals, strict=True)]


def _present(events: Sequence[int], totals: Sequence[int]) -> tuple[list[int], list[int]]:
    pairs = [(int(y), int(m)) for y, m in zip(events, totals, strict=True) if m]
    return [y for y, _ in pairs], [m for _, m in pairs]


def _to_compare(first: Proportion, second: Proportion, correlation: float) -> tuple[Limits | None, Limits | None, str]:
    if first.level != second.level:
        raise ValueError(f"second must have the level of first, {first.level}, not {second.level}")
    if not -1 <= correlation <= 1:
        raise ValueError(f"correlation must be from -1 to 1, not {correlation}")
    limits = [_limits(group) for group in (first, second)]
    reasons = [f"not estimable: {group.withheld}" for group in (first, second) if not group.shown]
    if reasons:
        return limits[0], limits[1], reasons[0]
    patients = [group.total if group.clusters is None else group.clusters for group in (first, second)]
    return limits[0], limits[1], too_thin_to_compare(patients, first.events + second.events)


def _limits(group: Proportion) -> Limits | None:
    if group.rate is None or group.low is None or group.high is None:
        return None
    return group.rate, group.low, group.high
