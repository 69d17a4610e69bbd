"""Units side by side without ranking: a funnel, over-dispersion, observed over expected. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, sqrt

import numpy as np

from audit.stats.funnel_limits import (
    ALARM,
    WARNING,
    Limits,
    Place,
    check_inside,
    check_positive,
    funnel_limits,
    limits_from,
    place_of,
    poisson_limits,
)
from audit.stats.proportion import check_counts, check_level, normal_quantile

# Fewer units than these make no funnel, and no estimate of over-dispersion (our own choice).
FEWEST_UNITS, FEWEST_FOR_SPREAD = 5, 10
# A unit with fewer cases has no place on the chart (our own choice).
SMALLEST_UNIT = 10
OUTSIDE = "outside the 99.8 % limits: look at data quality, case mix, then practice"


@dataclass(frozen=True)
class Unit:
    """A practitioner or a practice under a code, never a name.

    events, total: whole numbers, 0 <= events <= total, total >= 1.
    effective_total: units of information, where they are fewer than the total because patients have several.
    """

    code: str
    events: int
    total: int
    effective_total: float | None = None

    @property
    def size(self) -> int:
        """Whole units of information, at least 1."""
        return max(1, floor(self.total if self.effective_total is None else self.effective_total))


@dataclass(frozen=True)
class Placed:
    """A unit in the funnel: its rate, the whole size it is drawn at, the limits there and where it lies.

    z_score: (rate - target) over its standard error, widened where the units are over-dispersed.
    withheld: why it has no place; rate, limits and place are then None.
    """

    code: str
    events: int
    total: int
    size: int
    rate: float | None = None
    limits: Limits | None = None
    place: Place | None = None
    z_score: float | None = None
    withheld: str = ""


@dataclass(frozen=True)
class Spread:
    """Over-dispersion of the units: more variance between them than chance gives.

    phi: mean squared z-score after the outer tenths were drawn in. threshold: what chance alone allows.
    variance: tau squared, between the units' true rates; 0 unless phi is above the threshold.
    """

    phi: float
    threshold: float
    variance: float

    @property
    def found(self) -> bool:
        return self.phi > self.threshold


@dataclass(frozen=True)
class Funnel:
    """Units in the order of their codes, around one target.

    target: the rate the limits stand around; target_source says whether it is a standard or the pooled rate.
    spread: None with fewer than 10 units. withheld: why there is no funnel; the units then have no place.
    """

    target: float
    target_source: str
    units: tuple[Placed, ...]
    spread: Spread | None = None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class ObservedExpected:
    """Observed over expected events of one unit, where its case mix would lead one to expect so many.

    ratio, low, high: with exact Poisson limits.
    limits, place: funnel limits around 1 at the expected events, and where the ratio lies.
    design_effect: what both counts were divided by for all limits, 1 or more. level: two-sided, of low and high.
    """

    code: str
    observed: int
    expected: float
    ratio: float
    low: float
    high: float
    limits: Limits
    place: Place
    design_effect: float
    level: float


def funnel(units: Sequence[Unit], target: float | None = None) -> Funnel:
    """A funnel of units around a standard or, without one, around their pooled rate.

    units: with codes that differ. target: the standard, between 0 and 1; None takes the pooled rate.
    Each unit stands at its effective size, rounded down; one with a total under 10 gets no place. With 10 places or
    more, and more variance between the units than chance gives, the limits are target +/- z sqrt(1 / w + tau^2).
    Withheld, the units in the order of their codes and without a place: fewer than 5 places; a pooled rate of 0 or 1.
    Refuses with ValueError counts out of range, a code used twice, an effective size above the total.

    Spiegelhalter DJ. Stat Med 2005;24:1185-1202. Referee: fixtures/reference/funnel.json
    """
    _check_units(units)
    ordered = sorted(units, key=lambda unit: unit.code)
    source = "pooled rate" if target is None else "standard"
    rate = sum(unit.events for unit in ordered) / sum(unit.total for unit in ordered) if target is None else target
    drawn = [unit for unit in ordered if unit.total >= SMALLEST_UNIT]
    reason = _no_funnel(len(drawn), rate, source)
    if reason:
        return Funnel(rate, source, tuple(_without_place(unit, reason) for unit in ordered), withheld=reason)
    spread = None
    if len(drawn) >= FEWEST_FOR_SPREAD:
        spread = over_dispersion([unit.events / unit.total for unit in drawn], [unit.size for unit in drawn], rate)
    small = f"fewer than {SMALLEST_UNIT} units"
    placed = [_placed(unit, rate, spread) if unit in drawn else _without_place(unit, small) for unit in ordered]
    return Funnel(rate, source, tuple(placed), spread)


def over_dispersion(rates: Sequence[float], sizes: Sequence[float], target: float) -> Spread:
    """Whether units vary more around the target than chance gives, and by how much.

    rates: 0 to 1, one per unit. sizes: above 0, in the same order. target: between 0 and 1.
    z = (rate - target) sqrt(w), w = n / (target (1 - target)), drawn in to its 10 % and 90 % quantiles (type 7);
    phi = mean z^2. Above 1 + 2 sqrt(2 / I), tau^2 = max(0, (I phi - (I - 1)) / (sum w - sum w^2 / sum w)); else 0.
    Refuses with ValueError fewer than 10 units, lengths that differ and sizes of 0 or below.

    Spiegelhalter DJ. Stat Med 2005;24:1185-1202. Referee: fixtures/reference/funnel.json
    """
    if len(rates) != len(sizes):
        raise ValueError(f"sizes must hold one size for each of {len(rates)} rates, not {len(sizes)}")
    if len(rates) < FEWEST_FOR_SPREAD:
        raise ValueError(f"rates must hold at least {FEWEST_FOR_SPREAD} units, not {len(rates)}")
    for value in sizes:
        check_positive("sizes", value)
    check_inside("target", target)
    weights = np.asarray(sizes, dtype=np.float64) / (target * (1 - target))
    scores = (np.asarray(rates, dtype=np.float64) - target) * np.sqrt(weights)
    low, high = np.quantile(scores, [0.1, 0.9])
    phi, number = float((np.clip(scores, low, high) ** 2).mean()), len(rates)
    threshold = 1 + 2 * sqrt(2 / number)
    if phi <= threshold:
        return Spread(phi, threshold, 0.0)
    scale = float(weights.sum() - (weights**2).sum() / weights.sum())
    return Spread(phi, threshold, max(0.0, (number * phi - (number - 1)) / scale))


def observed_over_expected(
    code: str, observed: int, expected: float, design_effect: float = 1.0, level: float = 0.95
) -> ObservedExpected:
    """Observed over expected events of one unit, with exact Poisson limits and its place in a funnel around 1.

    observed: whole number, 0 or more. expected: the sum of the risks a pooled model gives the unit's cases, above 0.
    design_effect: of the outcome within patients; below 1 counts as 1. Both counts are divided by it for the limits.
    level: two-sided, between 0 and 1. Refuses with ValueError what is outside.

    Garwood F. Biometrika 1936;28:437-442 (exact limits of a Poisson count); Spiegelhalter DJ. Stat Med
    2005;24:1185-1202. Referee: fixtures/reference/funnel.json
    """
    from scipy.stats import gamma

    if isinstance(observed, bool) or observed != int(observed) or observed < 0:
        raise ValueError(f"observed must be a whole number, 0 or more, not {observed}")
    check_positive("expected", expected)
    check_positive("design_effect", design_effect)
    effect, tail = max(1.0, design_effect), (1 - check_level(level)) / 2
    count, scale = observed / effect, expected / effect
    low = 0.0 if observed == 0 else float(gamma.ppf(tail, count)) / scale
    high = float(gamma.ppf(1 - tail, count + 1)) / scale
    limits, ratio = poisson_limits(scale), observed / expected
    return ObservedExpected(
        code, int(observed), expected, ratio, low, high, limits, place_of(ratio, limits), effect, level
    )  # fmt: skip


def limits_at(target: float, size: int, spread: Spread | None) -> Limits:
    """Limits of a unit of this size: exact binomial, or where units are over-dispersed widened by their variance.

    Widened: target +/- z sqrt(target (1 - target) / size + tau^2), cut to 0 to 1.
    """
    if spread is None or not spread.variance:
        return funnel_limits(target, size)
    error = sqrt(target * (1 - target) / size + spread.variance)
    z_scores = [-normal_quantile(ALARM), -normal_quantile(WARNING), normal_quantile(WARNING), normal_quantile(ALARM)]
    return limits_from(size, [target + z * error for z in z_scores], highest=1.0)


def _placed(unit: Unit, target: float, spread: Spread | None) -> Placed:
    variance = 0.0 if spread is None else spread.variance
    error = sqrt(target * (1 - target) / unit.size + variance)
    limits = limits_at(target, unit.size, spread)
    rate = unit.events / unit.total
    return Placed(
        unit.code, unit.events, unit.total, unit.size, rate, limits, place_of(rate, limits), (rate - target) / error
    )  # fmt: skip


def _without_place(unit: Unit, reason: str) -> Placed:
    return Placed(unit.code, unit.events, unit.total, unit.size, withheld=reason)


def _no_funnel(places: int, rate: float, source: str) -> str:
    if places < FEWEST_UNITS:
        return f"{FEWEST_UNITS} units with {SMALLEST_UNIT} cases or more are needed for a funnel, not {places}"
    if source == "pooled rate" and rate in (0.0, 1.0):
        return f"no limits around a pooled rate of {rate:.0%}"
    check_inside("target", rate)
    return ""


def _check_units(units: Sequence[Unit]) -> None:
    if not units:
        raise ValueError("units must hold at least 1 unit, not 0")
    codes = [unit.code for unit in units]
    for unit in units:
        check_counts(unit.events, unit.total)
        if codes.count(unit.code) > 1:
            raise ValueError(f"units must have codes that differ, not {unit.code} twice")
        if unit.effective_total is not None and not 0 < unit.effective_total <= unit.total:
            raise ValueError(f"effective_total must be above 0 and up to {unit.total}, not {unit.effective_total}")
