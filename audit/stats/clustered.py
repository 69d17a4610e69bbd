"""One proportion whose units belong to patients: two sides of one patient are not two patients. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy.typing as npt
from scipy.special import chdtrc, stdtrit

from audit.stats.cluster_sums import Sums, sums_by_stratum, sums_of
from audit.stats.proportion import (
    Method,
    Proportion,
    check_level,
    exact_limits,
    normal_quantile,
    score_limits,
    zero_event_upper,
)

# Below this number of patients a variance between patients means nothing: counts only (our own choice).
FEWEST_PATIENTS = 5
# Groups are compared only from here on (our own choice).
FEWEST_PATIENTS_TO_COMPARE = 10
FEWEST_EVENTS_TO_COMPARE = 5


@dataclass(frozen=True)
class Correlation:
    """How alike the units of one patient are: the intra-patient correlation.

    value: 1 where patients have all or nothing, 0 where units are independent, below 0 where patients resemble each
    other more than chance would have it; None where `withheld` says why.
    """

    value: float | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld

    @property
    def for_planning(self) -> float | None:
        """The value, but never below 0: no plan may count on less variance than chance."""
        return None if self.value is None else max(0.0, self.value)


@dataclass(frozen=True)
class AdjustedChiSquare:
    """Pearson's chi-square on the effective sizes of groups of patients.

    rates: one proportion per group. effects: design effect per group, None where it is undefined.
    sizes: effective total per group. statistic, p: None where it is not estimable; degrees: groups less one.
    withheld: why the test may not be shown; empty where it may.
    """

    rates: tuple[float, ...]
    effects: tuple[float | None, ...]
    sizes: tuple[float, ...]
    statistic: float | None
    p: float | None
    degrees: int
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def rao_scott_wilson(
    events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int], level: float = 0.95
) -> Proportion:
    """Wilson interval on the effective size of a clustered sample, with a t-correction for few patients.

    events_by_cluster, totals_by_cluster: one whole number per patient, in the same order;
    0 <= events <= total and total >= 1 for each. level: two-sided, between 0 and 1.
    Gives limits on the proportion scale. Plain Wilson only where every patient contributes one unit. Without any
    event, or with only events, the variance between patients cannot be seen, so the worst is assumed and the
    patients themselves are the units; the exact one-sided limit then stands beside. One patient: no interval.
    Two to four patients: counts only; `withheld` says so.
    Refuses with ValueError lists of different lengths, no patient at all, and counts out of range.

    Rao JNK, Scott AJ. Biometrics 1992;48:577-585; Korn EL, Graubard BI. Surv Methodol 1998;24:193-201;
    Dean N, Pagano M. J Surv Stat Methodol 2015;3:484-503.
    Referee: fixtures/reference/proportions.json (design effects) and a seeded coverage simulation in the tests.
    """
    check_level(level)
    return _interval(sums_of(events_by_cluster, totals_by_cluster), level)


def rao_scott_wilson_by_stratum(
    strata: npt.ArrayLike, patients: npt.ArrayLike, events: npt.ArrayLike, *, count: int, level: float = 0.95
) -> tuple[Proportion, ...]:
    """The interval of `rao_scott_wilson` for every stratum of a long list of units, without a loop over units.

    strata: one whole number per unit, 0 to count - 1. patients: one whole number per unit, 0 or more.
    events: 0 or 1, or true and false, per unit. All three of one length and in any order; a patient may have units in
    several strata. count: number of strata, at least 1. level: two-sided, between 0 and 1.
    Gives one Proportion per stratum, in order; a stratum without units keeps its place and says "no cases".
    Refuses with ValueError arrays of different lengths and numbers out of range.

    Referee: `rao_scott_wilson`, stratum by stratum.
    """
    check_level(level)
    return tuple(_interval(sums, level) for sums in sums_by_stratum(strata, patients, events, count))


def korn_graubard(
    events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int], level: float = 0.95
) -> Proportion:
    """Strict interval for a clustered sample: Clopper and Pearson's on the effective size, so it is wider.

    Takes and refuses the same as `rao_scott_wilson`. The effective size is M / deff * (t(M-1) / t(K-1))^2 for M units
    of K patients, at most M. Without any event, or with only events, the patients themselves are the units.

    Korn EL, Graubard BI. Surv Methodol 1998;24:193-201.
    """
    check_level(level)
    sums = sums_of(events_by_cluster, totals_by_cluster)
    if sums.clusters < FEWEST_PATIENTS:
        return _counts_only(sums, level)
    if sums.events in (0, sums.total):
        return _patients_as_units(sums, level, exact=True)
    effect = _effect(sums) or 0.0
    correction = (_student(level, sums.total - 1) / _student(level, sums.clusters - 1)) ** 2
    size = sums.total if effect == 0 else min(float(sums.total), sums.total / effect * correction)
    rate = sums.events / sums.total
    low, high = exact_limits(rate * size, size, level)
    return Proportion(
        sums.events, sums.total, rate, low, high, Method.KORN_GRAUBARD, level, sums.clusters, effect, float(size),
    )  # fmt: skip


def design_effect(events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int]) -> float | None:
    """How many times larger the variance of the rate is than with independent units.

    One whole number per patient in both, as for `rao_scott_wilson`; at least two patients.
    Gives a ratio, 0 or more (below 1 if patients resemble each other more than chance would have it); None where
    it is undefined because no unit or every unit had the event.

    Rao JNK, Scott AJ. Biometrics 1992;48:577-585, with the factor K / (K - 1).
    """
    sums = sums_of(events_by_cluster, totals_by_cluster)
    if sums.clusters < 2:
        raise ValueError(f"totals_by_cluster must hold at least 2 clusters, not {sums.clusters}")
    return _effect(sums)


def intraclass_correlation(events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int]) -> Correlation:
    """Correlation of two units of one patient, by analysis of variance: (MSB - MSW) / (MSB + (m0 - 1) MSW).

    Takes and refuses the same as `rao_scott_wilson`. MSB and MSW are the mean squares between and within patients,
    m0 = (M - sum m^2 / M) / (K - 1). Not estimable with fewer than five patients, with one unit each, and without
    an event or with only events. Negative values are given as they are.

    Donner A. Int Stat Rev 1986;54:67-82; Ridout MS, Demetrio CGB, Firth D. Biometrics 1999;55:137-148.
    """
    sums = sums_of(events_by_cluster, totals_by_cluster)
    clusters, total, rate = sums.clusters, sums.total, sums.events / sums.total
    if clusters < FEWEST_PATIENTS:
        return Correlation(None, f"not estimable: {_few(clusters)}")
    if clusters == total:
        return Correlation(None, "not estimable: every patient has one unit")
    if sums.events in (0, total):
        return Correlation(None, f"not estimable: {'every' if sums.events else 'no'} unit had the event")
    pairs = list(zip(events_by_cluster, totals_by_cluster, strict=True))
    between = sum((y - rate * m) ** 2 / m for y, m in pairs) / (clusters - 1)
    within = sum(y * (m - y) / m for y, m in pairs) / (total - clusters)
    usual = (total - sums.total_squares / total) / (clusters - 1)
    return Correlation((between - within) / (between + (usual - 1) * within))


def rao_scott_chi_square(groups: Sequence[tuple[Sequence[int], Sequence[int]]]) -> AdjustedChiSquare:
    """Do groups of patients have the same rate? Pearson's chi-square with every group on its effective size.

    groups: two or more pairs (events_by_cluster, totals_by_cluster), as for `rao_scott_wilson`; no patient may be in
    two groups. Sizes never exceed the number of units; where the design effect is undefined, patients are the units.
    Withheld with fewer than 10 patients in a group, fewer than 5 events in all, or nothing to compare.
    Refuses with ValueError fewer than two groups, and what `rao_scott_wilson` refuses, naming the group.

    Rao JNK, Scott AJ. Biometrics 1992;48:577-585. Referee: fixtures/reference/proportions.json
    """
    if len(groups) < 2:
        raise ValueError(f"groups must hold at least 2 groups, not {len(groups)}")
    sums = [_sums_of_group(place, *group) for place, group in enumerate(groups)]
    effects = tuple(_effect(group) if group.clusters > 1 else None for group in sums)
    rates = tuple(group.events / group.total for group in sums)
    sizes = tuple(
        float(group.clusters) if effect is None else group.total / max(1.0, effect)
        for group, effect in zip(sums, effects, strict=True)
    )
    degrees = len(groups) - 1
    events, total = sum(group.events for group in sums), sum(group.total for group in sums)
    if events in (0, total):
        reason = f"not estimable: {'every' if events else 'no'} unit had the event"
        return AdjustedChiSquare(rates, effects, sizes, None, None, degrees, reason)
    pooled = sum(rate * size for rate, size in zip(rates, sizes, strict=True)) / sum(sizes)
    distances = [size * (rate - pooled) ** 2 for rate, size in zip(rates, sizes, strict=True)]
    statistic = sum(distances) / (pooled * (1 - pooled))
    thin = too_thin_to_compare(tuple(group.clusters for group in sums), events)
    return AdjustedChiSquare(rates, effects, sizes, statistic, float(chdtrc(degrees, statistic)), degrees, thin)


def too_thin_to_compare(patients: Sequence[int], events: int) -> str:
    """Why groups may not be compared, in words; empty where they may. Ten patients each, five events in all."""
    fewest = min(patients)
    if fewest < FEWEST_PATIENTS_TO_COMPARE:
        return f"too few to compare: {_counted(fewest)} in a group, at least {FEWEST_PATIENTS_TO_COMPARE} are needed"
    if events < FEWEST_EVENTS_TO_COMPARE:
        found = "1 event" if events == 1 else f"{events} events"
        return f"too few to compare: {found} in all, at least {FEWEST_EVENTS_TO_COMPARE} are needed"
    return ""


def _interval(sums: Sums, level: float) -> Proportion:
    if sums.clusters < FEWEST_PATIENTS:
        return _counts_only(sums, level)
    if sums.events in (0, sums.total):
        return _patients_as_units(sums, level)
    if sums.total == sums.clusters:
        return _on(sums, level, Method.WILSON, float(sums.total), None)
    effect = _effect(sums) or 0.0
    return _on(sums, level, Method.RAO_SCOTT, _effective_size(sums.total, sums.clusters, effect, level), effect)


def _effect(sums: Sums) -> float | None:
    """K / (K-1) * sum (y - p m)^2 / (M p (1 - p)), in whole numbers as far as they go: no rounding, never below 0."""
    clusters, events, total, squares, products, total_squares = sums
    if events in (0, total):
        return None
    distance = total * total * squares - 2 * events * total * products + events * events * total_squares
    return clusters * distance / ((clusters - 1) * total * events * (total - events))


def _effective_size(total: int, clusters: int, effect: float, level: float) -> float:
    """Never more information than the units would hold if they were independent."""
    independent = total / max(1.0, effect)
    if effect == 0:
        return independent
    correction = (normal_quantile(level) / _student(level, clusters - 1)) ** 2
    return min(independent, total / effect * correction)


def _student(level: float, degrees: int) -> float:
    return float(stdtrit(degrees, 1 - (1 - level) / 2))


def _on(sums: Sums, level: float, method: Method, size: float, effect: float | None) -> Proportion:
    rate = sums.events / sums.total
    low, high = score_limits(rate * size, size, level)
    return Proportion(sums.events, sums.total, rate, low, high, method, level, sums.clusters, effect, size)


def _patients_as_units(sums: Sums, level: float, *, exact: bool = False) -> Proportion:
    # All patients or none had the event, so a patient counts as one unit with or without it.
    clusters, events, total = sums.clusters, sums.events, sums.total
    limits = exact_limits if exact else score_limits
    low, high = limits(clusters if events else 0, clusters, level)
    alone, shared = (
        (Method.CLOPPER_PEARSON, Method.PATIENTS_EXACT) if exact else (Method.WILSON, Method.PATIENTS)
    )  # fmt: skip
    upper = zero_event_upper(clusters, level)
    return Proportion(
        events, total, events / total, low, high, alone if total == clusters else shared, level, clusters, None,
        float(clusters), one_sided=1 - upper if events else upper,
    )  # fmt: skip


def _counts_only(sums: Sums, level: float) -> Proportion:
    reason = f"not enough patients for a rate: {_few(sums.clusters)}" if sums.clusters else "no cases"
    return Proportion(
        sums.events, sums.total, None, None, None, Method.NONE, level, sums.clusters, withheld=reason,
    )  # fmt: skip


def _few(clusters: int) -> str:
    return f"{_counted(clusters)}, at least {FEWEST_PATIENTS} are needed"


def _counted(patients: int) -> str:
    return "1 patient" if patients == 1 else f"{patients} patients"


def _sums_of_group(place: int, events: Sequence[int], totals: Sequence[int]) -> Sums:
    try:
        return sums_of(events, totals)
    except ValueError as problem:
        raise ValueError(f"group {place}: {problem}") from problem
