"""One proportion of independent units, with its interval. Knows numbers only."""

import math
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, betainc, betaincinv, gammaln

Floats = npt.NDArray[np.float64]

# A test on fewer independent units than this says nothing either way (our own choice).
FEWEST_FOR_A_TEST = 20
# Two outcomes count as equally probable when they differ by less than rounding; the same as in R.
TIES = 1e-7


class Method(StrEnum):
    """How the limits of a proportion were obtained."""

    WILSON = "Wilson score"
    CLOPPER_PEARSON = "Clopper-Pearson exact"
    MID_P = "mid-P exact"
    RAO_SCOTT = "Rao-Scott Wilson, clustered on patients, t-corrected"
    KORN_GRAUBARD = "Korn-Graubard, clustered on patients, exact on the effective size"
    PATIENTS = "Wilson score with patients as units"
    PATIENTS_EXACT = "Clopper-Pearson exact with patients as units"
    NONE = "no interval"


@dataclass(frozen=True)
class Proportion:
    """A count with its rate and interval; says itself how it was made and whether it may be shown.

    events, total: whole numbers, 0 <= events <= total.
    rate, low, high: proportions, 0 to 1; all three None where `withheld` says why.
    level: two-sided confidence level of low and high.
    clusters: number of patients behind the total; None where the units were taken as independent.
    design_effect: variance over that of independent units; None where it was not or cannot be estimated.
    effective_total: the number of independent units that the interval stands on; None without an interval.
    one_sided: exact one-sided limit at the same level, upper for no event, lower for only events; else None.
    withheld: the reason why no rate is given; empty where it may be shown.
    """

    events: int
    total: int
    rate: float | None
    low: float | None
    high: float | None
    method: Method
    level: float = 0.95
    clusters: int | None = None
    design_effect: float | None = None
    effective_total: float | None = None
    one_sided: float | None = None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class AgainstStandard:
    """A count beside a standard rate, with the exact binomial probabilities on both sides of it.

    events, total: whole numbers. standard: a proportion.
    p_fail: probability of this many events or more if the true rate were the standard; small where the rate is above.
    p_meet: probability of this many events or fewer; small where the rate is below.
    p_two_sided: probability of all counts no more probable than the one found.
    All three None where `withheld` says why.
    """

    events: int
    total: int
    standard: float
    p_fail: float | None
    p_meet: float | None
    p_two_sided: float | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def wilson(events: int, total: int, level: float = 0.95) -> Proportion:
    """Wilson score interval for one proportion, without continuity correction.

    events, total: whole numbers, 0 <= events <= total, total >= 1.
    level: two-sided confidence level, between 0 and 1.
    Gives limits on the proportion scale, 0 to 1; never NaN; the lower limit is exactly 0 for no event, the upper
    exactly 1 for only events.
    Refuses an empty group with ValueError: "no cases" is for the caller to say.

    Wilson EB. J Am Stat Assoc 1927;22:209-212; Newcombe RG. Stat Med 1998;17:857-872.
    Referee: fixtures/reference/proportions.json
    """
    check_counts(events, total)
    low, high = score_limits(events, total, level)
    return _independent(events, total, low, high, Method.WILSON, level)


def clopper_pearson(events: int, total: int, level: float = 0.95) -> Proportion:
    """Exact binomial interval for one proportion: never covers less than it says, so it is wider.

    events, total: whole numbers, 0 <= events <= total, total >= 1.
    level: two-sided confidence level, between 0 and 1.
    Gives limits on the proportion scale, 0 to 1. Refuses the same as `wilson`.

    Clopper CJ, Pearson ES. Biometrika 1934;26:404-413. Referee: fixtures/reference/proportions.json
    """
    check_counts(events, total)
    low, high = exact_limits(events, total, level)
    return _independent(events, total, low, high, Method.CLOPPER_PEARSON, level)


def mid_p(events: int, total: int, level: float = 0.95) -> Proportion:
    """Exact binomial interval that counts only half the probability of the outcome itself: shorter than the exact one.

    events, total: whole numbers, 0 <= events <= total, total >= 1.
    level: two-sided confidence level, between 0 and 1.
    The upper limit is the rate p with P(X < x) + P(X = x) / 2 = (1 - level) / 2, the lower limit likewise with X > x.
    Gives limits on the proportion scale, right to 1e-12. Refuses the same as `wilson`.

    Method 6 of Newcombe RG. Stat Med 1998;17:857-872. Referee: fixtures/reference/proportions.json
    """
    check_counts(events, total)
    tail = (1 - check_level(level)) / 2
    low = 0.0 if events == 0 else 1 - _mid_p_upper(total - events, total, tail)
    high = 1.0 if events == total else _mid_p_upper(events, total, tail)
    return _independent(events, total, low, high, Method.MID_P, level)


def wilson_limits_of(events: npt.ArrayLike, totals: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Wilson's limits for many groups at once.

    events, totals: one number per group, 0 <= events <= total, total above 0; effective sizes need not be whole.
    level: two-sided confidence level, between 0 and 1.
    Gives two arrays on the proportion scale, of the same shape. Refuses with ValueError, naming the first place.
    """
    found, total = _checked_arrays(events, totals)
    z = normal_quantile(level)
    rate, square = found / total, z * z
    middle, scale = 2 * total * rate + square, 2 * (total + square)
    reach = z * np.sqrt(square + 4 * total * rate * (1 - rate))
    low = np.where(found == 0, 0.0, np.maximum(0.0, (middle - reach) / scale))
    high = np.where(found == total, 1.0, np.minimum(1.0, (middle + reach) / scale))
    return low, high


def clopper_pearson_limits_of(
    events: npt.ArrayLike, totals: npt.ArrayLike, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Clopper and Pearson's limits for many groups at once; takes, gives and refuses the same as `wilson_limits_of`."""
    found, total = _checked_arrays(events, totals)
    tail = (1 - check_level(level)) / 2
    none, every = found == 0, found == total
    low = np.where(none, 0.0, betaincinv(np.where(none, 1.0, found), total - found + 1, tail))
    high = np.where(every, 1.0, betaincinv(found + 1, np.where(every, 1.0, total - found), 1 - tail))
    return low, high


def binomial_test(events: int, total: int, standard: float) -> AgainstStandard:
    """Exact binomial test of independent units against a standard rate, both one-sided p-values and the two-sided.

    events, total: whole numbers, 0 <= events <= total, total >= 1. standard: strictly between 0 and 1.
    With fewer than 20 units no test is given; `withheld` says so. Refuses with ValueError what is out of range.

    Clopper CJ, Pearson ES. Biometrika 1934;26:404-413; two-sided as R's binom.test.
    Referee: fixtures/reference/proportions.json
    """
    check_counts(events, total)
    check_standard(standard)
    if total < FEWEST_FOR_A_TEST:
        found = "1 unit" if total == 1 else f"{total} units"
        reason = f"too few to judge: {found}, at least {FEWEST_FOR_A_TEST} are needed for a test"
        return AgainstStandard(int(events), int(total), standard, None, None, None, reason)
    at_least = 1.0 if events == 0 else float(betainc(events, total - events + 1, standard))
    at_most = float(bdtr(events, total, standard))
    p = _two_sided(events, total, standard)
    return AgainstStandard(int(events), int(total), standard, at_least, at_most, p)


def zero_event_upper(total: int, level: float = 0.95) -> float:
    """Exact one-sided upper limit of a rate when none of `total` had the event; about 3 / total at 95 %.

    total: whole number, at least 1. level: one-sided confidence level, between 0 and 1.
    Gives a proportion, 0 to 1. Refuses an empty group with ValueError.

    Hanley JA, Lippman-Hand A. JAMA 1983;249:1743-1745.
    """
    check_counts(0, total)
    return float(1 - (1 - check_level(level)) ** (1 / total))


def score_limits(events: float, total: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson's two limits for real-valued counts, as an effective size makes them.

    events, total: 0 <= events <= total, total above 0; not rounded.
    level: two-sided confidence level, between 0 and 1.
    Gives (low, high) on the proportion scale. Refuses with ValueError what is outside.
    """
    if not (math.isfinite(total) and total > 0):
        raise ValueError(f"total must be finite and above 0, not {total}")
    if not 0 <= events <= total:
        raise ValueError(f"events must be from 0 to {total}, not {events}")
    z = normal_quantile(level)
    rate, square = events / total, z * z
    middle = 2 * total * rate + square
    reach = z * math.sqrt(square + 4 * total * rate * (1 - rate))
    scale = 2 * (total + square)
    low = 0.0 if events == 0 else max(0.0, (middle - reach) / scale)
    high = 1.0 if events == total else min(1.0, (middle + reach) / scale)
    return low, high


def exact_limits(events: float, total: float, level: float = 0.95) -> tuple[float, float]:
    """Clopper and Pearson's two limits for real-valued counts, as an effective size makes them.

    Takes, gives and refuses the same as `score_limits`.
    """
    low, high = clopper_pearson_limits_of(events, total, level)
    return float(low), float(high)


def normal_quantile(level: float) -> float:
    """The standard normal quantile that a two-sided `level` leaves half of the rest beyond; 1.959964 for 0.95."""
    return NormalDist().inv_cdf(1 - (1 - check_level(level)) / 2)


def check_counts(events: int, total: int) -> None:
    """Refuses with ValueError, naming the argument, anything but whole numbers 0 <= events <= total, total >= 1."""
    for name, value in (("events", events), ("total", total)):
        if isinstance(value, bool) or not math.isfinite(value) or value != int(value):
            raise ValueError(f"{name} must be a whole number, not {value}")
    if total < 1:
        raise ValueError(f"total must be at least 1, not {total}")
    if not 0 <= events <= total:
        raise ValueError(f"events must be from 0 to {total}, not {events}")


def check_table(events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95) -> None:
    """Refuses with ValueError, naming the group, what `check_counts` and `check_level` refuse."""
    check_level(level)
    for group, events, total in ((1, events_1, total_1), (2, events_2, total_2)):
        try:
            check_counts(events, total)
        except ValueError as problem:
            raise ValueError(f"group {group}: {problem}") from problem


def check_level(level: float) -> float:
    """The level itself; refuses with ValueError what is not strictly between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    return level


def check_standard(standard: float) -> float:
    """The standard itself; refuses with ValueError what is not strictly between 0 and 1."""
    if not 0 < standard < 1:
        raise ValueError(f"standard must be between 0 and 1, not {standard}")
    return standard


def _mid_p_upper(events: int, total: int, tail: float) -> float:
    """Halves the range until it is as narrow as a float can be; events below total."""
    low, high = events / total, 1.0
    while low < (middle := (low + high) / 2) < high:
        below = 1.0 - betainc(events, total - events + 1, middle) if events else 0.0
        up_to = 1.0 - betainc(events + 1, total - events, middle)
        low, high = (middle, high) if (below + up_to) / 2 > tail else (low, middle)
    return low


def _two_sided(events: int, total: int, standard: float) -> float:
    """Sum over all counts that are no more probable than the one found."""
    count = np.arange(total + 1)
    ways = gammaln(total + 1) - gammaln(count + 1) - gammaln(total - count + 1)
    chance = np.exp(ways + count * math.log(standard) + (total - count) * math.log1p(-standard))
    return float(min(1.0, chance[chance <= chance[int(events)] * (1 + TIES)].sum()))


def _checked_arrays(events: npt.ArrayLike, totals: npt.ArrayLike) -> tuple[Floats, Floats]:
    found, total = np.asarray(events, dtype=float), np.asarray(totals, dtype=float)
    if found.shape != total.shape:
        raise ValueError(f"events must have the shape of totals, {total.shape}, not {found.shape}")
    # Written so that a missing number fails it too.
    if not np.all((total > 0) & (total < np.inf)):
        place = int(np.argmin((total > 0) & (total < np.inf)))
        raise ValueError(f"totals[{place}] must be finite and above 0, not {total.flat[place]:g}")
    if not np.all((found >= 0) & (found <= total)):
        place = int(np.argmin((found >= 0) & (found <= total)))
        raise ValueError(f"events[{place}] must be from 0 to {total.flat[place]:g}, not {found.flat[place]:g}")
    return found, total


def _independent(events: int, total: int, low: float, high: float, method: Method, level: float) -> Proportion:
    one_sided = zero_event_upper(total, level) if events == 0 else None
    if events == total:
        one_sided = 1 - zero_event_upper(total, level)
    return Proportion(
        int(events), int(total), events / total, low, high, method, level,
        effective_total=float(total), one_sided=one_sided,
    )  # fmt: skip
