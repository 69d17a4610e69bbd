"""Two groups compared within strata (side, practitioner, year) and put together. Knows numbers only.

Group 1 has x1 events of n1, group 0 has x0 of n0, N = n1 + n0, in every stratum.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from audit.stats.clustered import too_thin_to_compare
from audit.stats.differences import Comparison, newcombe_difference
from audit.stats.exact import hypergeometric
from audit.stats.proportion import TIES, Floats, check_counts, check_level, normal_quantile

# The test that strata are alike needs so many events in each of them.
FEWEST_EVENTS_A_STRATUM = 5
SHARED_PATIENTS = "units share patients: the interval comes from the regression with stratum terms"


@dataclass(frozen=True)
class Common:
    """One estimate common to all strata.

    value: a difference of proportions, or a ratio. low, high: its limits. standard_error: of the difference, or of the
    logarithm of the ratio. All four None where it is not estimable; limits and error None where only they are not.
    withheld: why value or limits may not be shown; empty where both may.
    """

    value: float | None
    low: float | None
    high: float | None
    standard_error: float | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class ChiSquare:
    """A chi-square with its degrees of freedom and p-value; both None where `withheld` says why."""

    statistic: float | None
    degrees: int
    p: float | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class LeftOut:
    """A stratum that contributes nothing: its place in the lists, and why."""

    place: int
    reason: str


@dataclass(frozen=True)
class Stratified:
    """Two groups compared over strata.

    difference, ratio, odds_ratio: Mantel-Haenszel estimates. test, test_corrected: Cochran-Mantel-Haenszel chi-square
    without and with continuity correction. contributing: places of the strata in the estimates, with each one's own
    difference in `each`, in the same order. left_out: the other strata. silent: contributing strata that say nothing
    about the odds ratio and in the test, because no unit or every unit had the event.
    alike: Breslow and Day's test that the odds ratio is the same in all strata.
    """

    difference: Common
    ratio: Common
    odds_ratio: Common
    test: ChiSquare
    test_corrected: ChiSquare
    alike: ChiSquare
    contributing: tuple[int, ...]
    each: tuple[Comparison, ...]
    left_out: tuple[LeftOut, ...]
    silent: tuple[int, ...]


@dataclass(frozen=True)
class _Strata:
    x1: Floats
    n1: Floats
    x0: Floats
    n0: Floats

    @property
    def size(self) -> Floats:
        return self.n1 + self.n0

    @property
    def events(self) -> Floats:
        return self.x1 + self.x0


def mantel_haenszel(
    events_1: Sequence[int],
    totals_1: Sequence[int],
    events_0: Sequence[int],
    totals_0: Sequence[int],
    level: float = 0.95,
    *,
    independent: bool = True,
) -> Stratified:
    """Difference, ratio and odds ratio of two groups, common to all strata, with the test of no association.

    events, totals: one whole number per stratum, in the same order, 0 <= events <= total; a total may be 0.
    level: two-sided, between 0 and 1. independent: whether every patient is one unit; if not, estimates are
    descriptive, and intervals and tests are withheld.
    A stratum with one group empty or a single unit contributes nothing and is listed; 0.5 is never added.
    Not estimable without contributing strata, and ratios without events in either group.
    Withheld with fewer than 10 patients in a group or fewer than 5 events in all.
    Refuses with ValueError lists of different lengths or without a stratum, and counts out of range.

    Mantel N, Haenszel W. J Natl Cancer Inst 1959;22:719-748; variances of Sato T. Biometrics 1989;45:1323-1324
    (difference), Greenland S, Robins JM. Biometrics 1985;41:55-68 (ratio) and Robins J, Breslow N, Greenland S.
    Biometrics 1986;42:311-323 (odds ratio). Referee: fixtures/reference/stratified.json
    """
    check_level(level)
    given = _checked(events_1, totals_1, events_0, totals_0)
    reasons = [_reason(int(n1), int(n0)) for n1, n0 in zip(given.n1, given.n0, strict=True)]
    kept = np.array([not reason for reason in reasons])
    strata = _Strata(given.x1[kept], given.n1[kept], given.x0[kept], given.n0[kept])
    caution = _caution(strata, independent=independent)
    places = tuple(int(place) for place in np.flatnonzero(kept))
    odds_ratio = _odds_ratio(strata, level, caution)
    return Stratified(
        difference=_difference(strata, level, caution),
        ratio=_ratio(strata, level, caution),
        odds_ratio=odds_ratio,
        test=_association(strata, 0.0, caution),
        test_corrected=_association(strata, 0.5, caution),
        alike=_alike(strata, odds_ratio.value, caution),
        contributing=places,
        each=tuple(
            newcombe_difference(int(strata.x1[k]), int(strata.n1[k]), int(strata.x0[k]), int(strata.n0[k]), level)
            for k in range(len(places))
        ),
        left_out=tuple(LeftOut(place, reason) for place, reason in enumerate(reasons) if reason),
        silent=tuple(places[k] for k in np.flatnonzero((strata.events == 0) | (strata.events == strata.size))),
    )


def exact_common_odds(
    events_1: Sequence[int], totals_1: Sequence[int], events_0: Sequence[int], totals_0: Sequence[int]
) -> float | None:
    """Exact two-sided p-value that the odds ratio is 1 in all strata, given the events of each stratum.

    Takes and refuses the same as `mantel_haenszel`; independent units. The sum over all numbers of events of group 1
    that are no more probable than the one found. None where only one number is possible.

    Mantel N. J Am Stat Assoc 1963;58:690-700. Referee: fixtures/reference/stratified.json
    """
    strata = _checked(events_1, totals_1, events_0, totals_0)
    chance, lowest = np.ones(1), 0
    for x1, n1, x0, n0 in zip(strata.x1, strata.n1, strata.x0, strata.n0, strict=True):
        support, own = hypergeometric(int(x1 + x0), int(n1), int(n0))
        chance, lowest = np.convolve(chance, own), lowest + int(support[0])
    if chance.size == 1:
        return None
    found = chance[int(strata.x1.sum()) - lowest]
    return float(min(1.0, chance[chance <= found * (1 + TIES)].sum()))


def breslow_day(
    events_1: Sequence[int],
    totals_1: Sequence[int],
    events_0: Sequence[int],
    totals_0: Sequence[int],
    *,
    tarone: bool = False,
) -> ChiSquare:
    """Is the odds ratio the same in all strata? Breslow and Day's chi-square around the Mantel-Haenszel odds ratio.

    Takes and refuses the same as `mantel_haenszel`. tarone: with Tarone's correction. Not given where a contributing
    stratum has fewer than 5 events, where fewer than two strata contribute, or without a common odds ratio.

    Breslow NE, Day NE. Statistical Methods in Cancer Research I. IARC 1980; Tarone RE. Biometrika 1985;72:91-95
    (both from memory, unverified). Referee: statsmodels StratifiedTable.test_equal_odds
    """
    given = _checked(events_1, totals_1, events_0, totals_0)
    kept = (given.n1 > 0) & (given.n0 > 0)
    strata = _Strata(given.x1[kept], given.n1[kept], given.x0[kept], given.n0[kept])
    return _alike(strata, _odds_ratio(strata, 0.95, "").value, "", tarone=tarone)


def _difference(strata: _Strata, level: float, caution: str) -> Common:
    if strata.x1.size == 0:
        return Common(None, None, None, None, "not estimable: no stratum has units in both groups")
    x1, n1, x0, n0, size = strata.x1, strata.n1, strata.x0, strata.n0, strata.size
    weight = (n1 * n0 / size).sum()
    value = float(((x1 * n0 - x0 * n1) / size).sum() / weight)
    p = ((n1**2 * x0 - n0**2 * x1 + n1 * n0 * (n0 - n1) / 2) / size**2).sum()
    q = ((x1 * (n0 - x0) + x0 * (n1 - x1)) / (2 * size)).sum()
    variance = float((value * p + q) / weight**2)
    if variance <= 0:
        return Common(value, None, None, None, "interval not estimable: nothing varies within the strata")
    error = math.sqrt(variance)
    reach = normal_quantile(level) * error
    return _with_caution(value, max(-1.0, value - reach), min(1.0, value + reach), error, caution)


def _ratio(strata: _Strata, level: float, caution: str) -> Common:
    size = strata.size
    first, second = (strata.x1 * strata.n0 / size).sum(), (strata.x0 * strata.n1 / size).sum()
    parts = (strata.n1 * strata.n0 * strata.events - strata.x1 * strata.x0 * size) / size**2
    return _of_logarithm(first, second, "events", lambda: float(parts.sum() / (first * second)), level, caution)


def _odds_ratio(strata: _Strata, level: float, caution: str) -> Common:
    x1, n1, x0, n0, size = strata.x1, strata.n1, strata.x0, strata.n0, strata.size
    r, s = x1 * (n0 - x0) / size, x0 * (n1 - x1) / size
    p, q = (x1 + n0 - x0) / size, (x0 + n1 - x1) / size
    first, second = r.sum(), s.sum()

    def variance() -> float:
        own, cross, other = (p * r).sum(), (p * s + q * r).sum(), (q * s).sum()
        return float(own / (2 * first**2) + cross / (2 * first * second) + other / (2 * second**2))

    return _of_logarithm(first, second, "pairs of an event and a non-event", variance, level, caution)


def _of_logarithm(
    first: float, second: float, what: str, variance: Callable[[], float], level: float, caution: str
) -> Common:
    if second == 0:
        reason = f"no {what} to compare with" if first else f"no {what} in any stratum"
        return Common(None, None, None, None, f"not estimable: {reason}")
    value = float(first / second)
    if first == 0:
        return Common(0.0, None, None, None, f"interval not estimable: no {what} in the first group")
    error = math.sqrt(max(0.0, variance()))
    if error == 0:
        return Common(value, None, None, None, "interval not estimable: nothing varies within the strata")
    reach = normal_quantile(level) * error
    return _with_caution(value, value * math.exp(-reach), value * math.exp(reach), error, caution)


def _with_caution(value: float, low: float, high: float, error: float, caution: str) -> Common:
    if caution == SHARED_PATIENTS:
        return Common(value, None, None, None, caution)
    return Common(value, low, high, error, caution)


def _association(strata: _Strata, correction: float, caution: str) -> ChiSquare:
    """(|sum (x1 - E)| - correction)^2 / sum V, the correction never beyond the distance itself."""
    if caution == SHARED_PATIENTS:
        return ChiSquare(None, 1, None, caution)
    size, events = strata.size, strata.events
    variance = (strata.n1 * strata.n0 * events * (size - events) / (size**2 * np.maximum(1, size - 1))).sum()
    if variance == 0:
        return ChiSquare(None, 1, None, "not estimable: no stratum has units with and without the event in both groups")
    distance = abs((strata.x1 - strata.n1 * events / size).sum())
    statistic = float(max(0.0, distance - correction) ** 2 / variance)
    return ChiSquare(statistic, 1, float(chdtrc(1, statistic)), caution)


def _alike(strata: _Strata, odds_ratio: float | None, caution: str, *, tarone: bool = False) -> ChiSquare:
    degrees = max(0, strata.x1.size - 1)
    if caution == SHARED_PATIENTS:
        return ChiSquare(None, degrees, None, caution)
    if degrees == 0:
        return ChiSquare(None, 0, None, "not estimable: fewer than two strata contribute")
    fewest = int(strata.events.min())
    if fewest < FEWEST_EVENTS_A_STRATUM:
        found = "1 event" if fewest == 1 else f"{fewest} events"
        reason = f"a stratum has {found}, at least {FEWEST_EVENTS_A_STRATUM} are needed in each"
        return ChiSquare(None, degrees, None, f"too few to judge: {reason}")
    if not odds_ratio:
        return ChiSquare(None, degrees, None, "not estimable: no common odds ratio")
    expected = _expected(strata, odds_ratio)
    against = strata.events - expected
    cells = np.array([expected, strata.n1 - expected, against, strata.n0 - against])
    if cells.min() <= 0:
        return ChiSquare(None, degrees, None, "not estimable: every unit of a stratum had the event")
    variances = 1 / (1 / cells).sum(axis=0)
    distances = strata.x1 - expected
    statistic = float((distances**2 / variances).sum())
    if tarone:
        statistic = max(0.0, statistic - float(distances.sum() ** 2 / variances.sum()))
    return ChiSquare(statistic, degrees, float(chdtrc(degrees, statistic)), caution)


def _expected(strata: _Strata, odds_ratio: float) -> Floats:
    """Events of group 1 in each stratum if the odds ratio were this one: the root of a quadratic in its steady form."""
    a = 1 - odds_ratio
    b = strata.n0 - strata.events + odds_ratio * (strata.n1 + strata.events)
    c = -odds_ratio * strata.n1 * strata.events
    return np.asarray(-2 * c / (b + np.sqrt(b * b - 4 * a * c)))


def _caution(strata: _Strata, *, independent: bool) -> str:
    if not independent:
        return SHARED_PATIENTS
    return too_thin_to_compare((int(strata.n1.sum()), int(strata.n0.sum())), int(strata.events.sum()))


def _reason(total_1: int, total_0: int) -> str:
    """Why a stratum contributes nothing; a single unit always leaves one group empty."""
    if total_1 + total_0 == 0:
        return "no units"
    if total_1 + total_0 == 1:
        return "a single unit"
    return "" if total_1 and total_0 else "one group is empty"


def _checked(
    events_1: Sequence[int], totals_1: Sequence[int], events_0: Sequence[int], totals_0: Sequence[int]
) -> _Strata:
    named = {"events_1": events_1, "totals_1": totals_1, "events_0": events_0, "totals_0": totals_0}
    count = len(events_1)
    if count == 0:
        raise ValueError("events_1 must hold at least 1 stratum, not 0")
    for name, values in named.items():
        if len(values) != count:
            raise ValueError(f"{name} must have as many entries as events_1, {count}, not {len(values)}")
    for group, events, totals in ((1, events_1, totals_1), (0, events_0, totals_0)):
        for place, (found, total) in enumerate(zip(events, totals, strict=True)):
            if total == 0 and found == 0:
                continue
            try:
                check_counts(found, total)
            except ValueError as problem:
                raise ValueError(f"stratum {place}, group {group}: {problem}") from problem
    return _Strata(*(_floats(values) for values in named.values()))


def _floats(values: npt.ArrayLike) -> Floats:
    return np.asarray(values, dtype=float)
