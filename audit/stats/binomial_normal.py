"""Rates whose logits scatter normally between units: maximum likelihood without adding halves. Knows numbers only."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from math import sqrt

import numpy as np
from scipy.special import expit

from audit.stats.constrained_newton import NotConverged
from audit.stats.proportion import Floats

Downhill = Callable[[Floats], tuple[float, Floats]]

# Points of the quadrature in each unit: 7 do for alike units, a unit of 0 among much scatter needs many more.
POINTS = 101
# A standard deviation between units that raises the log-likelihood by less than this is 0.
NOTHING = 1e-6
# The largest step at which the search stops, and how many are tried.
CLOSE_ENOUGH = 1e-9
MOST_STEPS = 50
# Starts of the search: little and much scatter.
STARTS = (0.3, 1.5)


@dataclass(frozen=True)
class BinomialNormal:
    """mean: of the logits, error: its standard error. deviation: between units (tau), 0 or more.

    likelihood: the maximum of the log-likelihood without its constant. units: how many.
    """

    mean: float
    error: float
    deviation: float
    likelihood: float
    units: int


def binomial_normal(events: Sequence[float], totals: Sequence[float]) -> BinomialNormal:
    """logit p_i = mu + tau u_i, u_i standard normal, x_i binomial, by maximum likelihood.

    events, totals: one of each per unit, 0 <= events <= total, total above 0; need not be whole, so that they can be
    effective sizes. At least 2 units. The likelihood of each unit is integrated by adaptive Gauss-Hermite quadrature
    around its own mode. The error of mu comes from the inverse of the full Hessian in (mu, tau); with tau at 0 from
    the fixed-effect information.
    Refuses with ValueError what is outside, and no event or only events in all units: mu is then infinite. Units that
    differ too much for the likelihood to have a maximum within reach raise NotConverged.

    Hamza TH, van Houwelingen HC, Stijnen T. J Clin Epidemiol 2008;61:41-51; Stijnen T, Hamza TH, Ozdemir P. Stat Med
    2010;29:3046-3067. Referee: fixtures/reference/pooling.json
    """
    from scipy.optimize import minimize

    found, size = _checked(events, totals)
    pooled = float(found.sum() / size.sum())
    centre = float(np.log(pooled / (1 - pooled)))

    def downhill(place: Floats) -> tuple[float, Floats]:
        likelihood, gradient = _likelihood(found, size, float(place[0]), float(place[1]))
        return -likelihood, -gradient

    answers = [minimize(downhill, [centre, start], jac=True, method="BFGS", options={"gtol": 1e-9}) for start in STARTS]
    best = min(answers, key=lambda answer: float(answer.fun))
    without = _likelihood(found, size, centre, 0.0)[0]
    if -float(best.fun) - without < NOTHING:
        error = 1 / sqrt(float(size.sum()) * pooled * (1 - pooled))
        return BinomialNormal(centre, error, 0.0, without, len(size))
    top = _polished(downhill, np.array([best.x[0], abs(best.x[1])]))
    covariance = np.linalg.inv(_hessian(downhill, top))
    return BinomialNormal(
        float(top[0]), sqrt(float(covariance[0, 0])), float(top[1]), -downhill(top)[0], len(size)
    )  # fmt: skip


def _polished(downhill: Downhill, place: Floats) -> Floats:
    """Newton steps on the gradient: a search by values alone ends where they differ by rounding."""
    for _ in range(MOST_STEPS):
        try:
            step = np.linalg.solve(_hessian(downhill, place), downhill(place)[1])
        except np.linalg.LinAlgError:
            break
        place = np.asarray(place - step, dtype=np.float64)
        if np.abs(step).max() < CLOSE_ENOUGH:
            return place
    raise NotConverged("the units differ so much that the likelihood has no maximum within reach")


def _likelihood(events: Floats, totals: Floats, mean: float, deviation: float) -> tuple[float, Floats]:
    """Log-likelihood without its constant, and its gradient in (mu, tau)."""
    mode, width = _modes(events, totals, mean, deviation)
    points, weights = _quadrature()
    scatter = mode[:, None] + sqrt(2) * width[:, None] * points
    logit = mean + deviation * scatter
    height = events[:, None] * logit - totals[:, None] * np.logaddexp(0, logit) - scatter**2 / 2 + points**2
    top = height.max(axis=1)
    part = weights * np.exp(height - top[:, None])
    share = part / part.sum(axis=1, keepdims=True)
    excess = events[:, None] - totals[:, None] * expit(logit)
    gradient = np.array([(share * excess).sum(), (share * excess * scatter).sum()])
    return float((np.log(width * part.sum(axis=1) / sqrt(np.pi)) + top).sum()), gradient


@cache
def _quadrature() -> tuple[Floats, Floats]:
    points, weights = np.polynomial.hermite.hermgauss(POINTS)
    return points, weights


def _modes(events: Floats, totals: Floats, mean: float, deviation: float) -> tuple[Floats, Floats]:
    """Where each unit's integrand is highest, and its width there."""
    mode = np.zeros(len(events))
    for _ in range(100):
        risk = expit(mean + deviation * mode)
        slope = deviation * (events - totals * risk) - mode
        curve = 1 + deviation**2 * totals * risk * (1 - risk)
        # Steps of 2 at most: far from the mode the curve is flat and a full step leads astray.
        step = np.clip(slope / curve, -2, 2)
        mode = mode + step
        if np.abs(step).max() < 1e-10:
            break
    risk = expit(mean + deviation * mode)
    return mode, 1 / np.sqrt(1 + deviation**2 * totals * risk * (1 - risk))


def _hessian(downhill: Downhill, place: Floats) -> Floats:
    """Central differences of the gradient, made symmetric."""
    columns = []
    for axis in range(2):
        step = np.zeros(2)
        step[axis] = 1e-4
        columns.append((downhill(place + step)[1] - downhill(place - step)[1]) / 2e-4)
    found = np.column_stack(columns)
    return np.asarray((found + found.T) / 2, dtype=np.float64)


def _checked(events: Sequence[float], totals: Sequence[float]) -> tuple[Floats, Floats]:
    found, size = np.asarray(events, dtype=np.float64), np.asarray(totals, dtype=np.float64)
    if found.shape != size.shape or found.ndim != 1:
        raise ValueError(f"totals must hold one for each of {found.size} units, not {size.size}")
    if found.size < 2:
        raise ValueError(f"events must hold at least 2 units, not {found.size}")
    for count, total in zip(found, size, strict=True):
        if not (np.isfinite(total) and total > 0):
            raise ValueError(f"totals must be finite and above 0, not {total}")
        if not 0 <= count <= total:
            raise ValueError(f"events must be from 0 to {total:g}, not {count:g}")
    if not 0 < found.sum() < size.sum():
        raise ValueError(f"events must be above 0 and below {size.sum():g} in all, not {found.sum():g}")
    return found, size
