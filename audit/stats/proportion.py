"""One proportion of independent units, with its interval. Knows numbers only."""

import math
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

from scipy.stats import beta


class Method(StrEnum):
    """How the limits of a proportion were obtained."""

    WILSON = "Wilson score"
    CLOPPER_PEARSON = "Clopper-Pearson exact"
    RAO_SCOTT = "Rao-Scott Wilson, clustered on patients, t-corrected"
    PATIENTS = "Wilson score with patients as units"
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
    tail = (1 - check_level(level)) / 2
    low = 0.0 if events == 0 else float(beta.ppf(tail, events, total - events + 1))
    high = 1.0 if events == total else float(beta.ppf(1 - tail, events + 1, total - events))
    return _independent(events, total, low, high, Method.CLOPPER_PEARSON, level)


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


def normal_quantile(level: float) -> float:
    """The standard normal quantile that a two-sided `level` leaves half of the rest beyond; 1.959964 for 0.95."""
    return NormalDist().inv_cdf(1 - (1 - check_level(level)) / 2)


def check_counts(events: int, total: int) -> None:
    """Refuses with ValueError, naming the argument, anything but whole numbers 0 <= events <= total, total >= 1."""
    for name, value in (("events", events), ("total", total)):
        if isinstance(value, bool) or value != int(value):
            raise ValueError(f"{name} must be a whole number, not {value}")
    if total < 1:
        raise ValueError(f"total must be at least 1, not {total}")
    if not 0 <= events <= total:
        raise ValueError(f"events must be from 0 to {total}, not {events}")


def check_level(level: float) -> float:
    """The level itself; refuses with ValueError what is not strictly between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    return level


def _independent(events: int, total: int, low: float, high: float, method: Method, level: float) -> Proportion:
    one_sided = zero_event_upper(total, level) if events == 0 else None
    if events == total:
        one_sided = 1 - zero_event_upper(total, level)
    return Proportion(
        int(events), int(total), events / total, low, high, method, level,
        effective_total=float(total), one_sided=one_sided,
    )  # fmt: skip
