"""Our regressions, called as the reference entries of their family ask."""

from collections.abc import Callable
from typing import Any

from audit.stats.firth import FirthFit, logistic_firth
from audit.stats.gee import GeeFit, logistic_gee


def gee_by_pattern(given: dict[str, Any]) -> dict[str, Any]:
    """resp ~ age * smoke of children counted by their pattern of answers."""
    design, outcome, children, child = [], [], [], 0
    for pattern in given["patterns"]:
        smoke = pattern["smoke"]
        for _ in range(pattern["children"]):
            child += 1
            for age, answer in zip(given["ages"], pattern["resp"], strict=True):
                design.append([1.0, age, smoke, age * smoke])
                outcome.append(answer)
                children.append(child)
    fit = logistic_gee(design, outcome, children)
    return {"coef": list(fit.estimates), "robust_se": list(fit.sandwich_errors), "alpha": fit.correlation}


def gee(given: dict[str, Any]) -> dict[str, Any]:
    fit: GeeFit = logistic_gee(given["intercept_arm_score"], given["outcome"], given["patients"])
    return {
        "coef": list(fit.estimates),
        "corrected_se": list(fit.errors),
        "robust_se": list(fit.sandwich_errors),
        "alpha": fit.correlation,
    }


def firth(given: dict[str, Any]) -> dict[str, Any]:
    fit = _firth(given)
    return {"coef": list(fit.estimates), "lower": list(fit.low), "upper": list(fit.high)}


def firth_with_p(given: dict[str, Any]) -> dict[str, Any]:
    return {**firth(given), "p": list(_firth(given).p_values)}


def firth_coefficients(given: dict[str, Any]) -> list[float]:
    return list(_firth(given).estimates)


def _firth(given: dict[str, Any]) -> FirthFit:
    """The first column is the outcome, the others follow an intercept."""
    outcome, *columns = given.values()
    return logistic_firth([[1.0, *row] for row in zip(*columns, strict=True)], outcome)


CALLS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "gee_by_pattern": gee_by_pattern,
    "gee": gee,
    "firth": firth,
    "firth_with_p": firth_with_p,
    "firth_coefficients": firth_coefficients,
}
