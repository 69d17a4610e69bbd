"""Practices under one roof: a pooled rate, what to expect of a new one, and when not to pool. Knows numbers only."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log

from scipy.special import expit

from audit.stats.binomial_normal import BinomialNormal, binomial_normal
from audit.stats.constrained_newton import NotConverged
from audit.stats.proportion import check_counts, check_level
from audit.stats.random_effects import Quantile, RandomEffects, prediction_interval, random_effects

# Practices needed for a pooled rate, and for a prediction interval and a test of heterogeneity (our own choice).
FEWEST_POOLED, FEWEST_PREDICTED = 3, 5


@dataclass(frozen=True)
class Practice:
    """What one practice contributes, under a code.

    events, total: whole numbers, 0 <= events <= total. patients: behind the total, 1 up to the total.
    effective_total: total over the design effect, above 0 and up to the total; None for independent units.
    definition: what was counted, by name of the part: outcome, horizon, window, unit.
    """

    code: str
    events: int
    total: int
    patients: int
    definition: Mapping[str, str]
    effective_total: float | None = None

    @property
    def size(self) -> float:
        """Independent units; the patients where no or every unit had the event, and patients resemble themselves."""
        if self.events in (0, self.total):
            return float(self.patients)
        return float(self.total if self.effective_total is None else self.effective_total)


@dataclass(frozen=True)
class Pool:
    """The pooled rate of practices with one definition.

    rate, low, high: of the average practice on the logit scale, 0 to 1, limits by `quantile`.
    predicted: where a new practice's true rate lies, by `predicted_quantile`; None with fewer than 5 practices.
    model: the binomial-normal fit behind it. check: the same by REML with Hartung-Knapp, rates as logits, 0.5 added to
    practices with no or only events; None where that did not settle. q_p_value: of the check's Q; None with fewer than
    5 practices.
    i_squared: of the check; a description, no verdict. events, total, patients, practices: what it stands on.
    warning: to print beside it. withheld: why there is no pooled rate; all of the above are then None.
    """

    practices: int
    events: int
    total: int
    patients: int
    level: float
    rate: float | None = None
    low: float | None = None
    high: float | None = None
    quantile: Quantile = Quantile.STUDENT_K_1
    predicted: tuple[float, float] | None = None
    predicted_quantile: Quantile = Quantile.STUDENT_K_2
    model: BinomialNormal | None = None
    check: RandomEffects | None = None
    q_p_value: float | None = None
    i_squared: float | None = None
    warning: str = ""
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def pool(practices: Sequence[Practice], level: float = 0.95) -> Pool:
    """Pools rates by the binomial-normal model, with Student's t because practices are few.

    practices: at least one, with codes that differ. level: two-sided, between 0 and 1.
    Each practice counts with its effective size; one without any event, or with only events, with its patients.
    Limits are mu -/+ t(k - 1) se, a prediction interval mu -/+ t(k - 2) sqrt(tau^2 + se^2).
    Withheld: definitions that differ, and the reason says in what; fewer than 3 practices; no or only events in all;
    rates that differ too much for the model.
    3 and 4 practices: a warning, no prediction interval, no test of heterogeneity.
    Refuses with ValueError counts out of range, patients or effective sizes above the total, a code used twice.

    Hamza TH, van Houwelingen HC, Stijnen T. J Clin Epidemiol 2008;61:41-51; Higgins JPT, Thompson SG, Spiegelhalter DJ.
    J R Stat Soc A 2009;172:137-159. Student's t for mu is our own choice: with the normal quantile the limits of few
    practices cover too seldom (a seeded simulation in the tests). Referee: fixtures/reference/pooling.json
    """
    from scipy.stats import chi2
    from scipy.stats import t as student

    tail = (1 - check_level(level)) / 2
    _check(practices)
    number = len(practices)
    counts = (
        number, sum(each.events for each in practices), sum(each.total for each in practices),
        sum(each.patients for each in practices),
    )  # fmt: skip
    reason = _not_pooled(practices, counts[1], counts[2])
    if reason:
        return Pool(*counts, level, withheld=reason)
    sizes = [each.size for each in practices]
    events = [each.events / each.total * size for each, size in zip(practices, sizes, strict=True)]
    try:
        model = binomial_normal(events, sizes)
    except NotConverged as problem:
        return Pool(*counts, level, withheld=f"not estimable: {problem}")
    check = _by_restricted_likelihood(events, sizes, level)
    reach = float(student.ppf(1 - tail, number - 1)) * model.error
    enough = number >= FEWEST_PREDICTED
    predicted = None
    if enough:
        ends = prediction_interval(model.mean, model.error, model.deviation**2, number, Quantile.STUDENT_K_2, level)
        predicted = _rate(ends[0]), _rate(ends[1])
    return Pool(
        *counts, level, _rate(model.mean), _rate(model.mean - reach), _rate(model.mean + reach),
        predicted=predicted, model=model, check=check,
        q_p_value=float(chi2.sf(check.q, number - 1)) if enough and check else None,
        i_squared=check.i_squared if check else None,
        warning="" if enough else f"{number} practices only: how much they differ cannot be told",
    )  # fmt: skip


def _by_restricted_likelihood(events: Sequence[float], sizes: Sequence[float], level: float) -> RandomEffects | None:
    """The second opinion; None where its variance between practices did not settle, which is no fault of the pool."""
    try:
        return random_effects(*logits(events, sizes), level=level)
    except NotConverged:
        return None


def logits(events: Sequence[float], totals: Sequence[float]) -> tuple[list[float], list[float]]:
    """Logits and their variances 1 / x + 1 / (n - x); 0.5 is added to both counts where either is 0, and there only.

    events, totals: 0 <= events <= total, total above 0; need not be whole.
    """
    values, variances = [], []
    for found, total in zip(events, totals, strict=True):
        if not 0 <= found <= total or total == 0:
            raise ValueError(f"events must be from 0 to {total}, not {found}")
        half = 0.5 if found in (0, total) else 0.0
        yes, no = found + half, total - found + half
        values.append(log(yes / no))
        variances.append(1 / yes + 1 / no)
    return values, variances


def _rate(logit: float) -> float:
    return float(expit(logit))


def _not_pooled(practices: Sequence[Practice], events: int, total: int) -> str:
    different = _differences(practices)
    if different:
        return f"definitions differ, not pooled: {different}"
    if len(practices) < FEWEST_POOLED:
        return f"{FEWEST_POOLED} practices are needed for a pooled rate, not {len(practices)}"
    if events in (0, total):
        found = "no event" if events == 0 else "only events"
        return f"not estimable: {found} in {len(practices)} practices"
    return ""


def _differences(practices: Sequence[Practice]) -> str:
    """Each part of the definitions that is not the same everywhere, with who says what."""
    parts = sorted({part for each in practices for part in each.definition})
    found = []
    for part in parts:
        said = {each.code: each.definition.get(part, "not said") for each in practices}
        if len(set(said.values())) > 1:
            found.append(f"{part} ({', '.join(f'{code}: {words}' for code, words in sorted(said.items()))})")
    return "; ".join(found)


def _check(practices: Sequence[Practice]) -> None:
    if not practices:
        raise ValueError("practices must hold at least 1 practice, not 0")
    codes = [each.code for each in practices]
    for each in practices:
        check_counts(each.events, each.total)
        if codes.count(each.code) > 1:
            raise ValueError(f"practices must have codes that differ, not {each.code} twice")
        if not 1 <= each.patients <= each.total:
            raise ValueError(f"patients must be from 1 to {each.total}, not {each.patients}")
        if each.effective_total is not None and not 0 < each.effective_total <= each.total:
            raise ValueError(f"effective_total must be above 0 and up to {each.total}, not {each.effective_total}")
