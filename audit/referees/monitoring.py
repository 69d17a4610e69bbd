"""Our monitoring charts, called as the reference entries of their family ask."""

from collections.abc import Callable
from math import exp
from typing import Any

from audit.stats.cusum import any_side_risk, weights
from audit.stats.rare_events import gap_limits, run_chart_limits
from audit.stats.run_length import average_run_length, false_alarm_chance


def cusum_weights(given: dict[str, Any]) -> list[float]:
    """For each score the weight of a non-event and of an event, the risk being logistic in the score."""
    found = []
    for score in given["scores"]:
        risk = 1 / (1 + exp(-(given["intercept"] + given["slope"] * score)))
        event, clear = weights(risk, given["odds_ratio"])
        found += [clear, event]
    return found


def cusum_run_lengths(given: dict[str, Any]) -> dict[str, float]:
    ratio = given["pA"] / (1 - given["pA"]) / (given["p0"] / (1 - given["p0"]))
    return _run_lengths(given["p0"], given["h"], ratio)


def cusum_false_alarms(given: dict[str, Any]) -> dict[str, Any]:
    risk, limit, ratio = [given["p0"]], given["h"], given["odds_ratio"]
    chances = [false_alarm_chance(risk, limit, units, ratio) for units in given["units"]]
    return {**_run_lengths(given["p0"], limit, ratio), "false_alarm": chances}


def any_side(given: dict[str, Any]) -> float:
    return any_side_risk(given["sides"], given["rate"], given["correlation"])


def longest_run(given: dict[str, Any]) -> list[int]:
    return [run_chart_limits(useful)[0] for useful in given["useful"]]


def crossings(given: dict[str, Any]) -> list[int]:
    return [run_chart_limits(useful)[1] for useful in given["useful"]]


def gaps(given: dict[str, Any]) -> list[int]:
    limits = gap_limits(given["rate"])
    return [limits.centre, limits.warning_high, limits.alarm_high]


def _run_lengths(risk: float, limit: float, ratio: float) -> dict[str, float]:
    return {
        "arl0": average_run_length([risk], limit, ratio),
        "arl1": average_run_length([risk], limit, ratio, ratio),
    }


CALLS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "cusum_weights": cusum_weights,
    "cusum_run_lengths": cusum_run_lengths,
    "cusum_false_alarms": cusum_false_alarms,
    "any_side_risk": any_side,
    "run_chart_longest": longest_run,
    "run_chart_crossings": crossings,
    "gap_limits": gaps,
}
