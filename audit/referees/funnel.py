"""Our funnel limits, called as the reference entries of their family ask."""

from collections.abc import Callable
from typing import Any

from audit.stats.funnel import observed_over_expected, over_dispersion
from audit.stats.funnel_limits import Limits, exact_binomial_limit, funnel_limits, poisson_limits


def exact_binomial_limits(given: dict[str, Any]) -> list[float]:
    return [exact_binomial_limit(given["theta0"], given["n"], probability) for probability in given["p"]]


def cut_limits(given: dict[str, Any]) -> list[float]:
    """In per cent; a lower limit that is none is 0."""
    return [100 * limit for limit in _in_order(funnel_limits(given["theta0"], given["n"]))]


def ratio_limits(given: dict[str, Any]) -> list[float]:
    return _in_order(poisson_limits(given["expected"]))


def ratio_with_limits(given: dict[str, Any]) -> list[float]:
    found = observed_over_expected("A", given["observed"], given["expected"])
    return [found.ratio, found.low, found.high]


def spread(given: dict[str, Any]) -> dict[str, float]:
    rates = [events / total for events, total in zip(given["events"], given["totals"], strict=True)]
    found = over_dispersion(rates, given["totals"], given["target"])
    return {"phi": found.phi, "tau2": found.variance}


def _in_order(limits: Limits) -> list[float]:
    return [limits.alarm_low or 0.0, limits.warning_low or 0.0, limits.warning_high, limits.alarm_high]


CALLS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "exact_binomial_limits": exact_binomial_limits,
    "funnel_limits": cut_limits,
    "poisson_limits": ratio_limits,
    "observed_over_expected": ratio_with_limits,
    "over_dispersion": spread,
}
