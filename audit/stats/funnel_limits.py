"""Exact limits of a funnel: where a unit of a given size falls by chance. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import inf, isfinite
from typing import Any

from audit.stats.proportion import check_counts

# Two-sided shares of units in control that lie inside the two pairs of limits.
WARNING, ALARM = 0.95, 0.998


class Place(StrEnum):
    """Where a unit lies in a funnel."""

    INSIDE = "inside the 95 % limits"
    ABOVE_WARNING = "above the 95 % limit"
    BELOW_WARNING = "below the 95 % limit"
    ABOVE_ALARM = "above the 99.8 % limit"
    BELOW_ALARM = "below the 99.8 % limit"


@dataclass(frozen=True)
class Limits:
    """Limits of a proportion or a ratio at one size; a lower one is None where it is 0: nobody can fall below it."""

    size: float
    alarm_low: float | None
    warning_low: float | None
    warning_high: float
    alarm_high: float


def exact_binomial_limit(target: float, size: int, probability: float) -> float:
    """The funnel limit below which a unit of this size falls with the given probability; not cut to 0 to 1.

    target: a rate between 0 and 1. size: whole number, at least 1. probability: between 0 and 1.
    (r - a) / n with r the smallest count that P(X <= r) >= q, a = (P(X <= r) - q) / P(X = r): between whole counts the
    limit goes in a straight line, so that it does not jump with the size.

    Spiegelhalter DJ. Stat Med 2005;24:1185-1202, appendix A.1.1. Referee: fixtures/reference/funnel.json
    """
    from scipy.stats import binom

    check_inside("target", target)
    check_inside("probability", probability)
    check_counts(0, size)
    return _interpolated(binom(size, target), probability) / size


def funnel_limits(target: float, size: int) -> Limits:
    """Exact binomial 95 % and 99.8 % limits of one unit's rate, cut to 0 to 1.

    Takes and refuses what `exact_binomial_limit` does.
    """
    return limits_from(float(size), [exact_binomial_limit(target, size, tail) for tail in _tails()], highest=1.0)


def poisson_limits(expected: float) -> Limits:
    """Exact Poisson 95 % and 99.8 % limits of observed over expected around 1, with the same interpolation.

    expected: events, above 0. Spiegelhalter DJ. Stat Med 2005;24:1185-1202, appendix A.1.2.
    """
    from scipy.stats import poisson

    check_positive("expected", expected)
    return limits_from(expected, [_interpolated(poisson(expected), tail) / expected for tail in _tails()])


def place_of(value: float, limits: Limits) -> Place:
    """Where a rate or ratio lies among the limits at its size; on a limit is inside it."""
    if value > limits.alarm_high:
        return Place.ABOVE_ALARM
    if value > limits.warning_high:
        return Place.ABOVE_WARNING
    if limits.alarm_low is not None and value < limits.alarm_low:
        return Place.BELOW_ALARM
    if limits.warning_low is not None and value < limits.warning_low:
        return Place.BELOW_WARNING
    return Place.INSIDE


def _tails() -> list[float]:
    return [(1 - ALARM) / 2, (1 - WARNING) / 2, (1 + WARNING) / 2, (1 + ALARM) / 2]


def _interpolated(chance: Any, probability: float) -> float:
    """The count at which a discrete distribution reaches the probability, in a straight line between whole counts."""
    count = int(chance.ppf(probability))
    beyond = (float(chance.cdf(count)) - probability) / float(chance.pmf(count))
    return count - beyond


def limits_from(size: float, values: Sequence[float], highest: float = inf) -> Limits:
    """The four values, cut to 0 to the highest; a lower one that is 0 is none."""
    alarm_low, warning_low = (value if value > 0 else None for value in values[:2])
    return Limits(size, alarm_low, warning_low, min(highest, values[2]), min(highest, values[3]))


def check_inside(name: str, value: float) -> None:
    """Refuses with ValueError, naming the argument, what is not strictly between 0 and 1."""
    if not 0 < value < 1:
        raise ValueError(f"{name} must be between 0 and 1, not {value}")


def check_positive(name: str, value: float) -> None:
    """Refuses with ValueError, naming the argument, what is not finite and above 0."""
    if not (isfinite(value) and value > 0):
        raise ValueError(f"{name} must be finite and above 0, not {value}")
