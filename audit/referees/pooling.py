"""Our pooled estimates, called as the reference entries of their family ask."""

from collections.abc import Callable
from math import exp, log
from typing import Any

from audit.stats.binomial_normal import binomial_normal as fit_binomial_normal
from audit.stats.pooling import logits
from audit.stats.random_effects import Between, Quantile, RandomEffects, prediction_interval, random_effects


def meta_dl(given: dict[str, Any]) -> dict[str, Any]:
    found = random_effects(*_log_risk_ratios(given), Between.DERSIMONIAN_LAIRD, knapp_hartung=False)
    return {**_mean(found), "tau2": found.variance, "Q": found.q}


def meta_reml(given: dict[str, Any]) -> dict[str, Any]:
    found = random_effects(*_log_risk_ratios(given), knapp_hartung=False)
    ends = prediction_interval(found.estimate, found.error, found.variance, found.units, Quantile.NORMAL)
    return {**_mean(found), "tau2": found.variance, "pi_rr": [exp(end) for end in ends]}


def meta_hk(given: dict[str, Any]) -> dict[str, Any]:
    return _mean(random_effects(*_log_risk_ratios(given)))


def logit_reml_hk(given: dict[str, Any]) -> dict[str, Any]:
    found = random_effects(*logits(given["events"], given["totals"]))
    return {**_mean(found), "tau2": found.variance, "Q": found.q}


def binomial_normal(given: dict[str, Any]) -> dict[str, float]:
    found = fit_binomial_normal(given["events"], given["totals"])
    return {"mu": found.mean, "se": found.error, "tau2": found.deviation**2}


def _mean(found: RandomEffects) -> dict[str, Any]:
    return {"mu": found.estimate, "se": found.error, "ci": [found.low, found.high]}


def _log_risk_ratios(given: dict[str, Any]) -> tuple[list[float], list[float]]:
    """Of tables written down column by column: treated and control with the event, treated and control without."""
    numbers, estimates, variances = given["values_column_major"], [], []
    for start in range(0, len(numbers), 4):
        treated, control, treated_clear, control_clear = numbers[start : start + 4]
        treated_total, control_total = treated + treated_clear, control + control_clear
        estimates.append(log(treated / treated_total / (control / control_total)))
        variances.append(1 / treated - 1 / treated_total + 1 / control - 1 / control_total)
    return estimates, variances


CALLS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "meta_dl": meta_dl,
    "meta_reml": meta_reml,
    "meta_hk": meta_hk,
    "logit_reml_hk": logit_reml_hk,
    "binomial_normal": binomial_normal,
}
