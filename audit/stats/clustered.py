"""One proportion whose units belong to patients: two sides of one patient are not two patients. Knows numbers only."""

from collections.abc import Sequence

from scipy.stats import t as student

from audit.stats.proportion import (
    Method,
    Proportion,
    check_counts,
    check_level,
    normal_quantile,
    score_limits,
    zero_event_upper,
)

# Below this number of patients a variance between patients means nothing: counts only (our own choice).
FEWEST_PATIENTS = 5


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
    _check_clusters(events_by_cluster, totals_by_cluster)
    events, total, clusters = int(sum(events_by_cluster)), int(sum(totals_by_cluster)), len(totals_by_cluster)
    if clusters < FEWEST_PATIENTS:
        return _counts_only(events, total, clusters, level)
    if events in (0, total):
        return _patients_as_units(events, total, clusters, level)
    if total == clusters:
        return _on(events, total, clusters, level, Method.WILSON, float(total), None)
    effect = design_effect(events_by_cluster, totals_by_cluster)
    size = _effective_size(total, clusters, 1.0 if effect is None else effect, level)
    return _on(events, total, clusters, level, Method.RAO_SCOTT, size, effect)


def design_effect(events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int]) -> float | None:
    """How many times larger the variance of the rate is than with independent units.

    One whole number per patient in both, as for `rao_scott_wilson`; at least two patients.
    Gives a ratio, 0 or more (below 1 if patients resemble each other more than chance would have it); None where
    it is undefined because no unit or every unit had the event.

    Rao JNK, Scott AJ. Biometrics 1992;48:577-585, with the factor K / (K - 1).
    """
    _check_clusters(events_by_cluster, totals_by_cluster)
    events, total, clusters = int(sum(events_by_cluster)), int(sum(totals_by_cluster)), len(totals_by_cluster)
    if clusters < 2:
        raise ValueError(f"totals_by_cluster must hold at least 2 clusters, not {clusters}")
    if events in (0, total):
        return None
    rate = events / total
    squares = sum((y - rate * m) ** 2 for y, m in zip(events_by_cluster, totals_by_cluster, strict=True))
    variance = clusters / (clusters - 1) * squares / total**2
    return variance / (rate * (1 - rate) / total)


def _effective_size(total: int, clusters: int, effect: float, level: float) -> float:
    """Never more information than the units would hold if they were independent."""
    independent = total / max(1.0, effect)
    if effect == 0:
        return independent
    correction = (normal_quantile(level) / float(student.ppf(1 - (1 - level) / 2, clusters - 1))) ** 2
    return min(independent, total / effect * correction)


def _on(
    events: int, total: int, clusters: int, level: float, method: Method, size: float, effect: float | None
) -> Proportion:
    rate = events / total
    low, high = score_limits(rate * size, size, level)
    return Proportion(events, total, rate, low, high, method, level, clusters, effect, size)


def _patients_as_units(events: int, total: int, clusters: int, level: float) -> Proportion:
    # All patients or none had the event, so a patient counts as one unit with or without it.
    low, high = score_limits(clusters if events else 0, clusters, level)
    upper = zero_event_upper(clusters, level)
    method = Method.WILSON if total == clusters else Method.PATIENTS
    return Proportion(
        events, total, events / total, low, high, method, level, clusters, None, float(clusters),
        one_sided=1 - upper if events else upper,
    )  # fmt: skip


def _counts_only(events: int, total: int, clusters: int, level: float) -> Proportion:
    found = "1 patient" if clusters == 1 else f"{clusters} patients"
    reason = f"not enough patients for a rate: {found}, at least {FEWEST_PATIENTS} are needed"
    return Proportion(events, total, None, None, None, Method.NONE, level, clusters, withheld=reason)


def _check_clusters(events: Sequence[int], totals: Sequence[int]) -> None:
    if len(events) != len(totals):
        raise ValueError(f"events_by_cluster must have as many entries as totals_by_cluster, {len(totals)}, "
                         f"not {len(events)}")  # fmt: skip
    if not totals:
        raise ValueError("totals_by_cluster must hold at least 1 cluster, not 0")
    for place, (found, total) in enumerate(zip(events, totals, strict=True)):
        try:
            check_counts(found, total)
        except ValueError as problem:
            raise ValueError(f"cluster {place}: {problem}") from problem
