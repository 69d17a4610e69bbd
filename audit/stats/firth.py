"""Logistic regression where few events or separation defeat the ordinary one: Firth's penalty. Knows numbers only."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from audit.stats.constrained_newton import NotConverged
from audit.stats.patient_patterns import check_model, distinct_rows, patient_patterns
from audit.stats.proportion import Floats, check_level

# The largest change of a coefficient at which the steps stop, how many are tried, and how far one may go.
CLOSE_ENOUGH = 1e-10
MOST_STEPS = 200
LONGEST_STEP = 2.0
# Steps by the information matrix before those by the exact curvature, and the difference that is measured with.
ROUGH_STEPS, DIFFERENCE = 10, 1e-5
# A bend flatter than this part of the sharpest is taken as so flat.
FLATTEST = 1e-6
# After so many steps it is the top if the next would not raise the likelihood by more than rounding.
ENOUGH_STEPS = 30
MOST_HALVINGS = 40
# Two log-likelihoods nearer than this, relatively, are equal but for rounding.
ROUNDING = 1e-12
# A limit beyond this coefficient is printed as no limit.
FARTHEST = 500.0
# A top farther than this from where the last one pointed to is on another ridge, unless the step was so short a part
# of the standard error.
MOST_ASTRAY, SHORTEST = 0.5, 256
# A likelihood ratio is cut here, so that minus infinity can be bracketed.
HUGE = 1e6


@dataclass(frozen=True)
class FirthFit:
    """Coefficients on the log-odds scale with profile limits; finite even under separation.

    estimates, p_values: one number per column of the design.
    low, high: profile penalised likelihood limits; None where the profile never crosses: no limit on this side.
    likelihood: the maximum of the penalised log-likelihood. level: two-sided, of the limits.
    design_effect: of the model's residuals within patients; None where patients were not given.
    approximate: whether likelihood ratios were divided by a design effect above 1.
    patients: None where they were not given. withheld: why nothing could be estimated; the tuples are then empty.
    """

    estimates: tuple[float, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    p_values: tuple[float, ...]
    likelihood: float | None
    level: float
    design_effect: float | None
    patients: int | None
    units: int
    events: int
    withheld: str = ""

    @property
    def approximate(self) -> bool:
        return self.design_effect is not None and self.design_effect > 1

    @property
    def shown(self) -> bool:
        return not self.withheld


def logistic_firth(
    design: npt.ArrayLike, outcome: npt.ArrayLike, patients: npt.ArrayLike | None = None, level: float = 0.95
) -> FirthFit:
    """Firth's penalised logistic regression with profile penalised likelihood limits and tests.

    design: units x coefficients, finite numbers, with a column of ones where an intercept is wanted.
    outcome: 0 or 1 for each unit. level: two-sided, between 0 and 1.
    patients: a label for each unit, or None for independent units. The penalty knows no patients, so each likelihood
    ratio is divided by max(1, design effect of the residuals), our own approximation; `approximate` says where.
    Maximises l(b) + log|X'WX| / 2 with the score X'(y - mu + h(1/2 - mu)), h the diagonal of the hat matrix. A limit is
    the first coefficient, going away from the estimate, at which twice the fall of the maximum over the others reaches
    the chi-square quantile.
    Refuses with ValueError what `check_model` refuses, and no more patients than coefficients. Steps that do not settle
    give a result that says "not estimable".

    Firth D. Biometrika 1993;80:27-38; Heinze G, Schemper M. Stat Med 2002;21:2409-2419.
    Referee: fixtures/reference/regression.json (two published data sets).
    """
    check_level(level)
    rows, results = check_model(design, outcome)
    scale = np.sqrt((rows**2).mean(axis=0))
    model = _grouped(rows / scale, results)
    events, units = int(results.sum()), len(results)
    known = None if patients is None else patient_patterns(rows, results, patients).patients
    if known is not None and known <= rows.shape[1]:
        raise ValueError(f"patients must be more than the {rows.shape[1]} coefficients, not {known}")
    try:
        best = _maximum(model, np.zeros(rows.shape[1]))
        estimates = best.coefficients / scale
        effect = None if patients is None else residual_design_effect(rows, results, patients, estimates)
        ridges = [_Ridge(model, best, place, max(1.0, effect or 1.0)) for place in range(rows.shape[1])]
        limits = [_limits(ridge, float(unit), level) for ridge, unit in zip(ridges, scale, strict=True)]
    except NotConverged as problem:
        return FirthFit((), (), (), (), None, level, None, known, units, events, f"not estimable: {problem}")
    return FirthFit(
        tuple(estimates.tolist()),
        tuple(low for low, _, _ in limits),
        tuple(high for _, high, _ in limits),
        tuple(p_value for _, _, p_value in limits),
        best.likelihood + float(np.log(scale).sum()), level, effect, known, units, events,
    )  # fmt: skip


def residual_design_effect(design: Floats, outcome: Floats, patients: npt.ArrayLike, coefficients: Floats) -> float:
    """How many times larger the residuals of patients vary together than with independent units.

    K / (K - p) * sum over patients (sum of y - mu)^2 / sum mu (1 - mu), for K patients and p coefficients; with an
    intercept alone this is the design effect of a proportion. Takes more than p patients.
    """
    _, patient = np.unique(np.asarray(patients), return_inverse=True)
    risk = expit(design @ coefficients)
    totals = np.bincount(patient, weights=outcome - risk)
    factor = len(totals) / (len(totals) - design.shape[1])
    return float(factor * (totals**2).sum() / (risk * (1 - risk)).sum())


@dataclass(frozen=True)
class _Model:
    """Distinct rows of the design with their units and events."""

    design: Floats
    counts: Floats
    events: Floats


@dataclass(frozen=True)
class _Maximum:
    coefficients: Floats
    likelihood: float


def _grouped(rows: Floats, results: Floats) -> _Model:
    kinds = distinct_rows(rows)
    _, example = np.unique(kinds, return_index=True)
    return _Model(
        rows[example], np.bincount(kinds).astype(np.float64), np.asarray(np.bincount(kinds, results), dtype=np.float64)
    )


def _information(model: _Model, coefficients: Floats) -> Floats:
    risk = expit(model.design @ coefficients)
    found: Floats = (model.design * (model.counts * risk * (1 - risk))[:, None]).T @ model.design
    return found


def _likelihood(model: _Model, coefficients: Floats) -> float:
    predictor = model.design @ coefficients
    plain = (model.events * predictor - model.counts * np.logaddexp(0, predictor)).sum()
    sign, log_size = np.linalg.slogdet(_information(model, coefficients))
    return float(plain + log_size / 2) if sign > 0 else -np.inf


def _maximum(model: _Model, start: Floats, fixed: int | None = None) -> _Maximum:
    """The maximum over all coefficients, or over all but the `fixed` one, by Newton steps that go up."""
    free = [place for place in range(len(start)) if place != fixed]
    now = _Maximum(start, _likelihood(model, start))
    if not free:
        return now
    rough = ROUGH_STEPS if fixed is None else 0
    for taken in range(MOST_STEPS):
        step = np.zeros(len(start))
        step[free] = _newton_step(model, now.coefficients, free, exact=taken >= rough)
        gain = float(step @ _score(model, now.coefficients))
        at_rounding = taken >= ENOUGH_STEPS and gain < ROUNDING * max(1.0, abs(now.likelihood))
        if np.abs(step).max() < CLOSE_ENOUGH or at_rounding:
            return now
        step *= min(1.0, LONGEST_STEP / np.abs(step).max())
        now = _uphill(model, now, step)
    raise NotConverged(f"no convergence in {MOST_STEPS} steps")


def _newton_step(model: _Model, coefficients: Floats, free: list[int], *, exact: bool) -> Floats:
    """By the information matrix; exact: by the curvature of the penalised likelihood itself.

    The information leaves out the curvature of the penalty, which under separation is most of it: steps by it alone
    then come near ever more slowly. Where the likelihood curves upwards, as on a saddle, its curvature counts as if
    downwards, which leads away from the saddle.
    """
    try:
        score = _score(model, coefficients)[free]
        if not exact:
            information = _information(model, coefficients)[np.ix_(free, free)]
            return np.asarray(np.linalg.solve(information, score), dtype=np.float64)
        bends, axes = np.linalg.eigh(_curvature(model, coefficients)[np.ix_(free, free)])
    except np.linalg.LinAlgError:
        raise NotConverged("the information matrix is singular") from None
    bends = np.maximum(np.abs(bends), FLATTEST * np.abs(bends).max())
    return np.asarray(axes @ (axes.T @ score / bends), dtype=np.float64)


def _score(model: _Model, coefficients: Floats) -> Floats:
    risk = expit(model.design @ coefficients)
    weight = model.counts * risk * (1 - risk)
    information = (model.design * weight[:, None]).T @ model.design
    leverage = weight * np.einsum("ij,ji->i", model.design, np.linalg.solve(information, model.design.T))
    return np.asarray(model.design.T @ (model.events - model.counts * risk + leverage * (0.5 - risk)), dtype=np.float64)


def _curvature(model: _Model, coefficients: Floats) -> Floats:
    """Minus the derivative of the score, by central differences."""
    columns = []
    for place in range(len(coefficients)):
        aside = np.zeros(len(coefficients))
        aside[place] = DIFFERENCE
        columns.append(_score(model, coefficients - aside) - _score(model, coefficients + aside))
    found = np.column_stack(columns) / (2 * DIFFERENCE)
    return np.asarray((found + found.T) / 2, dtype=np.float64)


def _uphill(model: _Model, now: _Maximum, step: Floats) -> _Maximum:
    """The first of ever shorter steps that does not go down by more than rounding."""
    lowest = now.likelihood - ROUNDING * max(1.0, abs(now.likelihood))
    for _ in range(MOST_HALVINGS):
        following = now.coefficients + step
        likelihood = _likelihood(model, following)
        if likelihood >= lowest:
            return _Maximum(following, likelihood)
        step = step / 2
    raise NotConverged("no step leads uphill")


class _Ridge:
    """The tops of the likelihood over the other coefficients, while one coefficient moves away from the maximum.

    Under separation there can be several tops at one value, so the ridge is followed from the maximum on in steps so
    short that the next top lies where the last one points to.
    """

    def __init__(self, model: _Model, best: _Maximum, place: int, effect: float) -> None:
        self.model, self.best, self.place, self.effect = model, best, place, effect
        self.free = [other for other in range(len(best.coefficients)) if other != place]
        self.middle = float(best.coefficients[place])
        self.spread = float(np.sqrt(np.linalg.inv(_information(model, best.coefficients))[place, place]))

    def p_value(self) -> float:
        """Of the value 0."""
        from scipy.stats import chi2

        now, step = self.best, -float(np.sign(self.middle)) * self.spread / 2
        while now.coefficients[self.place] != 0:
            left = -float(now.coefficients[self.place])
            now, step = self._onward(now, step if abs(step) < abs(left) else left)
        return float(chi2.sf(self._ratio(now), 1))

    def limit(self, quantile: float, direction: int, farthest: float) -> float | None:
        """Where the likelihood ratio reaches the quantile; None where it does not up to the farthest value."""
        now, step = self.best, direction * self.spread / 2
        while abs(now.coefficients[self.place]) <= farthest:
            inside = now
            now, step = self._onward(now, step)
            if self._ratio(now) > quantile:
                found = self._between(inside, now, quantile)
                return found if abs(found) <= farthest else None
        return None

    def _between(self, inside: _Maximum, outside: _Maximum, quantile: float) -> float:
        from scipy.optimize import brentq

        start, end = float(inside.coefficients[self.place]), float(outside.coefficients[self.place])
        return float(brentq(lambda value: self._ratio(self._top(inside, value - start)) - quantile, start, end))

    def _onward(self, now: _Maximum, step: float) -> tuple[_Maximum, float]:
        """The next top, and the step to try after it; a step that led to another ridge is halved first."""
        while True:
            ahead = self._pointed(now, step)
            following = _maximum(self.model, ahead, self.place)
            astray = np.abs(following.coefficients - ahead).max()
            if astray <= MOST_ASTRAY or abs(step) < self.spread / SHORTEST:
                return following, step * (2 if astray < MOST_ASTRAY / 4 else 1)
            step /= 2

    def _top(self, now: _Maximum, step: float) -> _Maximum:
        return _maximum(self.model, self._pointed(now, step), self.place) if step else now

    def _pointed(self, now: _Maximum, step: float) -> Floats:
        """Where the next top lies as far as the slope of the ridge tells: d b / d b_j = -H^-1 H_j."""
        ahead = now.coefficients.copy()
        ahead[self.place] += step
        if self.free:
            curvature = _curvature(self.model, now.coefficients)
            slope = np.linalg.solve(curvature[np.ix_(self.free, self.free)], curvature[self.free, self.place])
            ahead[self.free] -= step * slope
        return ahead

    def _ratio(self, top: _Maximum) -> float:
        return min(HUGE, max(0.0, 2 * (self.best.likelihood - top.likelihood) / self.effect))


def _limits(ridge: _Ridge, scale: float, level: float) -> tuple[float | None, float | None, float]:
    """Lower and upper profile limit of one coefficient in units of its column, and the p-value of 0."""
    from scipy.stats import chi2

    quantile = float(chi2.ppf(level, 1))
    low, high = (ridge.limit(quantile, direction, FARTHEST * scale) for direction in (-1, 1))
    return None if low is None else low / scale, None if high is None else high / scale, ridge.p_value()
