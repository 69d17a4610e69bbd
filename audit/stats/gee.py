"""Logistic regression of outcomes that belong to patients, by generalised estimating equations. Knows numbers only."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from audit.stats.constrained_newton import NotConverged
from audit.stats.patient_patterns import Patterns, check_model, patient_patterns
from audit.stats.proportion import Floats

# The largest change of a coefficient at which the steps stop, and how many are tried.
CLOSE_ENOUGH = 1e-10
MOST_STEPS = 100
# A linear predictor beyond this is a fitted risk of 0 or 1: the coefficients run away.
RUN_AWAY = 30.0
# A patient whose own leverage leaves less than this of the residuals decides a coefficient alone.
ALONE = 1e-9


class Working(StrEnum):
    """The working correlation between two units of one patient."""

    EXCHANGEABLE = "exchangeable"
    INDEPENDENCE = "independence"


@dataclass(frozen=True)
class GeeFit:
    """Coefficients on the log-odds scale with a covariance that minds the patients.

    estimates, errors: one number per column of the design; errors are Mancl-DeRouen standard errors.
    sandwich_errors: standard errors without the correction for few patients, to compare with other programs.
    covariance: the Mancl-DeRouen matrix that `errors` come from.
    degrees: patients minus coefficients, for Student's t.
    working: the correlation used; `reason` says why it is independence, empty where it is exchangeable.
    correlation: its estimate, None with independence. dispersion: Pearson residuals squared over (units - p).
    patients, units, events: what the fit stands on. steps: how many were needed.
    withheld: why nothing could be estimated; then the numbers per coefficient are empty.
    """

    estimates: tuple[float, ...]
    errors: tuple[float, ...]
    sandwich_errors: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    degrees: int
    working: Working
    correlation: float | None
    dispersion: float | None
    patients: int
    units: int
    events: int
    steps: int = 0
    reason: str = ""
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def logistic_gee(
    design: npt.ArrayLike, outcome: npt.ArrayLike, patients: npt.ArrayLike, working: Working = Working.EXCHANGEABLE
) -> GeeFit:
    """Logistic GEE with one correlation between the units of a patient, and a covariance fit for few patients.

    design: units x coefficients, finite numbers, with a column of ones where an intercept is wanted.
    outcome: 0 or 1 for each unit. patients: a label for each unit; equal labels are one patient.
    Solves sum D'V^-1 (y - mu) = 0, starting from independence. Between steps the correlation becomes the sum of
    e_i e_j over the pairs within patients, e the Pearson residuals, over (pairs - p) phi, phi = sum e^2 / (N - p);
    the scale of the covariance itself stays 1. Independence instead, and `reason` says so, where there are no more
    pairs than coefficients, where the correlation leaves (-1 / (largest patient - 1), 1), or where 100 steps do not
    settle. Covariance: residuals of each patient freed of the patient's own leverage, (I - H_k)^-1 r_k.
    Not estimable, and `withheld` says so: separation, and a coefficient that rests on one patient.
    The time grows with the number of patterns of patients, not with the number of rows.
    Refuses with ValueError what `check_model` refuses, and no more patients than coefficients.

    Liang KY, Zeger SL. Biometrika 1986;73:13-22; Mancl LA, DeRouen TA. Biometrics 2001;57:126-134;
    Li P, Redden DT. Stat Med 2015;34:281-296 (Student's t with K - p degrees of freedom).
    Referee: fixtures/reference/regression.json, and statsmodels' GEE beside it in the tests.
    """
    rows, results = check_model(design, outcome)
    sample = patient_patterns(rows, results, patients)
    if sample.patients <= rows.shape[1]:
        raise ValueError(f"patients must be more than the {rows.shape[1]} coefficients, not {sample.patients}")
    try:
        start = _solve(sample, np.zeros(rows.shape[1]), correlated=False)
    except NotConverged as problem:
        return _nothing(sample, f"not estimable: {problem}")
    if working is Working.INDEPENDENCE:
        return _fit(sample, start, "independence was asked for")
    try:
        return _fit(sample, _solve(sample, start.coefficients, correlated=True), "")
    except NotConverged as problem:
        return _fit(sample, start, str(problem))


@dataclass(frozen=True)
class _Solution:
    coefficients: Floats
    correlation: float
    steps: int


def _solve(sample: Patterns, start: Floats, correlated: bool) -> _Solution:
    coefficients = start
    correlation = _correlation(sample, start) if correlated else 0.0
    for step in range(1, MOST_STEPS + 1):
        change = np.linalg.solve(*_equations(sample, coefficients, correlation))
        coefficients = coefficients + change
        if np.abs(sample.design @ coefficients).max() > RUN_AWAY:
            raise NotConverged("fitted risks run to 0 or 1 (separation)")
        correlation = _correlation(sample, coefficients) if correlated else 0.0
        if np.abs(change).max() < CLOSE_ENOUGH:
            return _Solution(coefficients, correlation, step)
    raise NotConverged(f"no convergence in {MOST_STEPS} steps")


def _equations(sample: Patterns, coefficients: Floats, correlation: float) -> tuple[Floats, Floats]:
    """Sum D'V^-1 D and sum D'V^-1 (y - mu).

    With the exchangeable correlation V^-1 is A^-1/2 (I - c J) A^-1/2 / (1 - a), c = a / (1 + a (m - 1)).
    """
    residuals, spread = _residuals(sample, coefficients)
    scaled = sample.design * spread[:, None]
    weighted = scaled * sample.counts[:, None]
    information, score = weighted.T @ scaled, weighted.T @ residuals
    if correlation:
        column, total = sample.sums(scaled), sample.sums(residuals)
        shared = column * (sample.times * _shared(sample, correlation))[:, None]
        information, score = information - shared.T @ column, score - shared.T @ total
    return information / (1 - correlation), score / (1 - correlation)


def _equations_by_patient(sample: Patterns, solution: _Solution) -> tuple[Floats, Floats]:
    """D'V^-1 D and D'V^-1 (y - mu) of one patient of each pattern."""
    residuals, spread = _residuals(sample, solution.coefficients)
    scaled = sample.design * spread[:, None]
    width, shared = scaled.shape[1], _shared(sample, solution.correlation)
    inner = sample.sums((scaled[:, :, None] * scaled[:, None, :]).reshape(-1, width**2)).reshape(-1, width, width)
    column, total = sample.sums(scaled), sample.sums(residuals)
    information: Floats = inner - shared[:, None, None] * column[:, :, None] * column[:, None, :]
    score = sample.sums(scaled * residuals[:, None]) - shared[:, None] * column * total[:, None]
    return information / (1 - solution.correlation), score / (1 - solution.correlation)


def _shared(sample: Patterns, correlation: float) -> Floats:
    return np.asarray(correlation / (1 + correlation * (sample.sizes - 1)), dtype=np.float64)


def _residuals(sample: Patterns, coefficients: Floats) -> tuple[Floats, Floats]:
    """Pearson residuals and the standard deviation of each unit."""
    risk = expit(sample.design @ coefficients)
    spread = np.sqrt(risk * (1 - risk))
    return (sample.outcome - risk) / spread, spread


def _dispersion(sample: Patterns, residuals: Floats) -> float:
    return _squares(sample, residuals) / float(sample.units - sample.design.shape[1])


def _squares(sample: Patterns, residuals: Floats) -> float:
    return float((sample.counts * residuals**2).sum())


def _correlation(sample: Patterns, coefficients: Floats) -> float:
    width, pairs = sample.design.shape[1], sample.pairs
    if pairs <= width:
        raise NotConverged(f"{pairs} pairs of units within patients, more than {width} are needed for a correlation")
    residuals, _ = _residuals(sample, coefficients)
    products = (float((sample.times * sample.sums(residuals) ** 2).sum()) - _squares(sample, residuals)) / 2
    found = products / float(pairs - width) / _dispersion(sample, residuals)
    least = -1 / (int(sample.sizes.max()) - 1)
    if not least < found < 1:
        raise NotConverged(f"the correlation {found:.3f} is outside {least:.3f} to 1")
    return found


def _fit(sample: Patterns, solution: _Solution, reason: str) -> GeeFit:
    information, score = _equations_by_patient(sample, solution)
    bread = np.linalg.inv(np.tensordot(sample.times, information, axes=1))
    # D'V^-1 (I - H)^-1 r = (I - D'V^-1 D B)^-1 D'V^-1 r: one small system per pattern.
    freed = np.eye(len(bread)) - information @ bread
    if np.abs(np.linalg.det(freed)).min() < ALONE:
        return _nothing(sample, "not estimable: a coefficient rests on one patient alone")
    corrected = np.linalg.solve(freed, score[:, :, None])[:, :, 0]
    covariance = bread @ ((corrected * sample.times[:, None]).T @ corrected) @ bread
    sandwich = bread @ ((score * sample.times[:, None]).T @ score) @ bread
    residuals, _ = _residuals(sample, solution.coefficients)
    return GeeFit(
        tuple(solution.coefficients.tolist()),
        tuple(np.sqrt(np.diag(covariance)).tolist()),
        tuple(np.sqrt(np.diag(sandwich)).tolist()),
        tuple(tuple(line) for line in covariance.tolist()),
        sample.patients - len(bread),
        Working.INDEPENDENCE if reason else Working.EXCHANGEABLE,
        None if reason else solution.correlation,
        _dispersion(sample, residuals),
        sample.patients, sample.units, sample.events, solution.steps, reason,
    )  # fmt: skip


def _nothing(sample: Patterns, withheld: str) -> GeeFit:
    degrees = sample.patients - sample.design.shape[1]
    return GeeFit(
        (), (), (), (), degrees, Working.INDEPENDENCE, None, None,
        sample.patients, sample.units, sample.events, withheld=withheld,
    )  # fmt: skip
