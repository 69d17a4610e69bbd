"""The mean of estimates with known variances: DerSimonian-Laird, REML, Hartung-Knapp limits. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

import numpy as np

from audit.stats.constrained_newton import NotConverged
from audit.stats.proportion import Floats, check_level, normal_quantile

CLOSE_ENOUGH = 1e-12
MOST_STEPS = 200


class Between(StrEnum):
    """How the variance between units is estimated."""

    DERSIMONIAN_LAIRD = "DerSimonian-Laird"
    REML = "restricted maximum likelihood"


class Quantile(StrEnum):
    """What the standard error is multiplied by: print it, programs differ."""

    NORMAL = "normal"
    STUDENT_K_1 = "Student's t with k - 1 degrees of freedom"
    STUDENT_K_2 = "Student's t with k - 2 degrees of freedom"


@dataclass(frozen=True)
class RandomEffects:
    """A mean of units whose true values differ.

    estimate, error, low, high: on the scale of the input; error after Hartung and Knapp where that was asked for.
    variance: between the units (tau squared). q: Cochran's, with k - 1 degrees of freedom. i_squared: 0 to 1, the
    share of variance not due to chance; a description, no verdict.
    factor: what Hartung and Knapp multiply the plain error by, before it is kept from shrinking it; None without.
    """

    estimate: float
    error: float
    low: float
    high: float
    variance: float
    q: float
    i_squared: float
    units: int
    between: Between
    quantile: Quantile
    level: float
    factor: float | None = None


def random_effects(
    estimates: Sequence[float],
    variances: Sequence[float],
    between: Between = Between.REML,
    knapp_hartung: bool = True,
    level: float = 0.95,
) -> RandomEffects:
    """Random-effects mean of estimates with known variances.

    estimates: finite, at least 2. variances: above 0, in the same order. level: two-sided, between 0 and 1.
    between: DerSimonian-Laird, max(0, (Q - (k - 1)) / (sum w - sum w^2 / sum w)), or REML by Fisher scoring.
    knapp_hartung: error times sqrt(sum w (y - mu)^2 / (k - 1)), never below the plain error, and Student's t with
    k - 1 degrees of freedom; else the normal quantile.
    Refuses with ValueError what is outside; REML that does not settle in 200 steps likewise.

    DerSimonian R, Laird N. Control Clin Trials 1986;7:177-188; Viechtbauer W. J Educ Behav Stat 2005;30:261-293 (REML);
    Knapp G, Hartung J. Stat Med 2003;22:2693-2710; Rover C, Knapp G, Friede T. BMC Med Res Methodol 2015;15:99 (the
    error never shrinks). Referee: fixtures/reference/pooling.json
    """
    values, spread = _checked(estimates, variances)
    tail = (1 - check_level(level)) / 2
    number = len(values)
    fixed = 1 / spread
    q = float((fixed * (values - (fixed @ values) / fixed.sum()) ** 2).sum())
    variance = _moments(fixed, q, number) if between is Between.DERSIMONIAN_LAIRD else _reml(values, spread)
    weight = 1 / (spread + variance)
    mean, error = float((weight @ values) / weight.sum()), sqrt(1 / float(weight.sum()))
    factor, reach, quantile = None, normal_quantile(level), Quantile.NORMAL
    if knapp_hartung:
        from scipy.stats import t as student

        factor = sqrt(float((weight * (values - mean) ** 2).sum()) / (number - 1))
        error *= max(1.0, factor)
        reach, quantile = float(student.ppf(1 - tail, number - 1)), Quantile.STUDENT_K_1
    i_squared = max(0.0, (q - (number - 1)) / q) if q > 0 else 0.0
    return RandomEffects(
        mean, error, mean - reach * error, mean + reach * error, variance, q, i_squared, number, between, quantile,
        level, factor,
    )  # fmt: skip


def prediction_interval(
    estimate: float, error: float, variance: float, units: int, quantile: Quantile, level: float = 0.95
) -> tuple[float, float]:
    """Where the true value of a new unit lies: estimate +/- quantile * sqrt(variance between + error^2).

    error, variance: 0 or more. units: at least 3 for Student's t with k - 2, 2 for k - 1. level: between 0 and 1.

    Higgins JPT, Thompson SG, Spiegelhalter DJ. J R Stat Soc A 2009;172:137-159 (k - 2).
    """
    for name, value in (("error", error), ("variance", variance)):
        if not (np.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must be finite and 0 or more, not {value}")
    tail = (1 - check_level(level)) / 2
    reach = normal_quantile(level)
    if quantile is not Quantile.NORMAL:
        from scipy.stats import t as student

        degrees = units - (1 if quantile is Quantile.STUDENT_K_1 else 2)
        if degrees < 1:
            raise ValueError(f"units must be at least {units - degrees + 1} for this quantile, not {units}")
        reach = float(student.ppf(1 - tail, degrees))
    width = reach * sqrt(variance + error**2)
    return estimate - width, estimate + width


def _moments(weight: Floats, q: float, number: int) -> float:
    scale = float(weight.sum() - (weight**2).sum() / weight.sum())
    return max(0.0, (q - (number - 1)) / scale)


def _reml(values: Floats, spread: Floats) -> float:
    """Fisher scoring from the moment estimate, cut at 0: score (y'PPy - tr P) / 2, information tr PP / 2."""
    fixed = 1 / spread
    q = float((fixed * (values - (fixed @ values) / fixed.sum()) ** 2).sum())
    variance = _moments(fixed, q, len(values))
    for _ in range(MOST_STEPS):
        weight = 1 / (spread + variance)
        one, two, three = (float((weight**power).sum()) for power in (1, 2, 3))
        residuals = values - (weight @ values) / one
        score = float((weight**2 * residuals**2).sum()) - (one - two / one)
        following = max(0.0, variance + score / (two - 2 * three / one + (two / one) ** 2))
        if abs(following - variance) < CLOSE_ENOUGH * (1 + variance):
            return following
        variance = following
    raise NotConverged(f"the variance between units did not settle in {MOST_STEPS} steps")


def _checked(estimates: Sequence[float], variances: Sequence[float]) -> tuple[Floats, Floats]:
    values, spread = np.asarray(estimates, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    if values.shape != spread.shape or values.ndim != 1:
        raise ValueError(f"variances must hold one for each of {values.size} estimates, not {spread.size}")
    if values.size < 2:
        raise ValueError(f"estimates must hold at least 2 units, not {values.size}")
    if not np.isfinite(values).all():
        raise ValueError("estimates must be finite, not NaN or infinity")
    wrong = spread[~(np.isfinite(spread) & (spread > 0))]
    if wrong.size:
        raise ValueError(f"variances must be finite and above 0, not {wrong[0]}")
    return values, spread
