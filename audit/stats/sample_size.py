"""How many units the next cycle needs, and how many years of the practice's work that is. Knows numbers only."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, bdtrin, ndtr, ndtri

from audit.stats.proportion import check_level, check_standard, normal_quantile, score_limits

# A plan beyond this is no plan.
MOST_UNITS = 100_000
# A plan beyond so many years of work needs other practices (our own choice).
MOST_YEARS = 5


@dataclass(frozen=True)
class Plan:
    """Units to operate on, from the number that would do if units were independent and nobody were lost.

    independent: whole number. design_effect: 1 or more. expected_loss: share of units, 0 or more and below 1.
    units: independent * design_effect / (1 - expected_loss), rounded up.
    """

    independent: int
    design_effect: float
    expected_loss: float
    units: int


@dataclass(frozen=True)
class Needed:
    """A smallest number of units; None where `withheld` says why there is none."""

    units: int | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class Acceptance:
    """With `units` reviewed, `events` or fewer show that the rate is below the standard."""

    events: int
    units: int


def mean_cluster_size(units: int, patients: int) -> float:
    """Units per patient. units, patients: whole numbers, 1 <= patients <= units; ValueError otherwise."""
    if not (float(units).is_integer() and float(patients).is_integer() and 1 <= patients <= units):
        raise ValueError(f"patients must be a whole number from 1 to units, {units}, not {patients}")
    return units / patients


def cluster_sizes(totals_by_cluster: Sequence[int]) -> tuple[float, float]:
    """Mean number of units per patient, and its coefficient of variation (SD with divisor K - 1, over the mean).

    totals_by_cluster: whole numbers of 1 or more, at least two patients; ValueError otherwise.
    """
    if len(totals_by_cluster) < 2:
        raise ValueError(f"totals_by_cluster must hold at least 2 clusters, not {len(totals_by_cluster)}")
    sizes = np.asarray(totals_by_cluster, dtype=float)
    if not ((sizes >= 1) & (sizes < np.inf) & (np.floor(sizes) == sizes)).all():
        raise ValueError(f"totals_by_cluster must be whole numbers of 1 or more, not {list(totals_by_cluster)}")
    return float(sizes.mean()), float(sizes.std(ddof=1) / sizes.mean())


def planned_design_effect(mean_size: float, variation: float, correlation: float) -> float:
    """1 + ((1 + cv^2) m - 1) ICC, never below 1.

    mean_size: units per patient, 1 or more. variation: their coefficient of variation, 0 or more. correlation: of two
    units of one patient, -1 to 1; below 0 it counts as 0, for no plan may rely on it. ValueError out of range.

    Eldridge SM, Ashby D, Kerry S. Int J Epidemiol 2006;35:1292-1300.
    """
    if not 1 <= mean_size < math.inf:
        raise ValueError(f"mean_size must be finite and at least 1, not {mean_size}")
    if not 0 <= variation < math.inf:
        raise ValueError(f"variation must be finite and at least 0, not {variation}")
    if not -1 <= correlation <= 1:
        raise ValueError(f"correlation must be from -1 to 1, not {correlation}")
    return 1 + ((1 + variation**2) * mean_size - 1) * max(0.0, correlation)


def plan(independent: int, design_effect: float = 1.0, expected_loss: float = 0.0) -> Plan:
    """Units to operate on: more where units share patients and where some will be lost.

    independent: whole number, 1 or more. design_effect: finite, 0 or more; below 1 it counts as 1. expected_loss:
    share, 0 or more and below 1. ValueError out of range.
    """
    if not (independent >= 1 and float(independent).is_integer()):
        raise ValueError(f"independent must be a whole number of at least 1, not {independent}")
    if not 0 <= design_effect < math.inf:
        raise ValueError(f"design_effect must be finite and at least 0, not {design_effect}")
    if not 0 <= expected_loss < 1:
        raise ValueError(f"expected_loss must be from 0 to below 1, not {expected_loss}")
    effect = max(1.0, design_effect)
    # Rounding must not add a unit to a whole number.
    units = math.ceil(round(independent * effect / (1 - expected_loss), 9))
    return Plan(int(independent), effect, expected_loss, units)


def for_precision(rate: float, half_width: float, level: float = 0.95) -> Needed:
    """The smallest number of independent units whose Wilson interval at this rate reaches no further than half_width.

    rate: expected, 0 to 1. half_width: half the length of the interval, above 0. level: two-sided, between 0 and 1.
    Not given above 100,000 units. ValueError out of range.
    """
    check_level(level)
    if not 0 <= rate <= 1:
        raise ValueError(f"rate must be from 0 to 1, not {rate}")
    if not 0 < half_width < math.inf:
        raise ValueError(f"half_width must be finite and above 0, not {half_width}")

    def narrow(units: int) -> bool:
        low, high = score_limits(rate * units, units, level)
        return (high - low) / 2 <= half_width

    if not narrow(MOST_UNITS):
        return _too_many()
    low, high = 0, MOST_UNITS  # the interval shortens with every unit
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if narrow(middle) else (middle, high)
    return Needed(high)


def to_show_below(standard: float, hoped: float, power: float = 0.8, confidence: float = 0.95) -> Needed:
    """The smallest number of independent units from which on the exact one-sided test shows a rate below the standard.

    standard: strictly between 0 and 1. hoped: the true rate planned for, 0 to below the standard. power: chance to
    show it at that rate, between 0 and 1. confidence: one-sided, between 0 and 1.
    The test counts as passed with c or fewer events, c the largest with P(X <= c | n, standard) <= 1 - confidence. The
    power is jagged in n, so the number is the one from which on it never falls below again. Not given above 100,000
    units. ValueError out of range.

    Exact binomial, common practice, no source. Referee: fixtures/reference/sample_size.json
    """
    check_standard(standard)
    if not 0 <= hoped < standard:
        raise ValueError(f"hoped must be from 0 to below the standard, {standard}, not {hoped}")
    for name, value in (("power", power), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must be between 0 and 1, not {value}")
    # The normal approximation says where to look.
    spread = _quantile(confidence) * _deviation(standard) + max(0.0, _quantile(power)) * _deviation(hoped)
    about = math.ceil((spread / (standard - hoped)) ** 2)
    if about > MOST_UNITS:
        return _too_many()
    allowed = math.ceil(2 * about * standard) + 50
    while True:
        events = np.arange(allowed)
        fewest = _fewest_units(events, standard, 1 - confidence)
        # With c events allowed, from fewest[c] up to just before fewest[c + 1], the power is least at the end.
        short = np.flatnonzero(bdtr(events[:-1], fewest[1:] - 1, hoped) < power)
        needed = int(fewest[short[-1] + 1]) if short.size else int(fewest[0])
        if needed > MOST_UNITS:
            return _too_many()
        if needed < fewest[-1] * 2 / 3:  # as far again without falling short: the jags only become smaller
            return Needed(needed)
        allowed *= 2


def acceptance_table(
    standard: float = 0.05, confidence: float = 0.95, events: Sequence[int] = (0, 1, 2, 3, 4)
) -> tuple[Acceptance, ...]:
    """For each number of events: the fewest units in which so many or fewer show a rate below the standard.

    standard: strictly between 0 and 1. confidence: one-sided, between 0 and 1. events: whole numbers of 0 or more.
    The smallest n with P(X <= c | n, standard) <= 1 - confidence. ValueError out of range, and above 100,000 units.

    Wilks SS. Ann Math Stat 1941;12:91-96. Referee: fixtures/reference/sample_size.json
    """
    check_standard(standard)
    check_level(confidence)
    for allowed in events:
        if not (allowed >= 0 and float(allowed).is_integer()):
            raise ValueError(f"events must be whole numbers of 0 or more, not {allowed}")
        if not bdtr(allowed, MOST_UNITS, standard) <= 1 - confidence:
            raise ValueError(f"events must need at most {MOST_UNITS:,} units, not {allowed}")
    needed = _fewest_units(np.asarray(events, dtype=np.int64), standard, 1 - confidence)
    return tuple(Acceptance(int(allowed), int(units)) for allowed, units in zip(events, needed, strict=True))


def two_groups(rate_1: float, rate_2: float, power: float = 0.8, level: float = 0.95) -> float:
    """Independent units needed in each of two groups to tell two rates apart; not rounded.

    rate_1, rate_2: different, 0 to 1. power: between 0 and 1. level: two-sided, between 0 and 1.
    (z_a sqrt(2 p q) + z_b sqrt(p1 q1 + p2 q2))^2 / (p1 - p2)^2, p the mean. ValueError out of range.

    Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions, 3rd ed. Wiley 2003.
    Referee: fixtures/reference/sample_size.json
    """
    for name, value in (("rate_1", rate_1), ("rate_2", rate_2)):
        if not 0 <= value <= 1:
            raise ValueError(f"{name} must be from 0 to 1, not {value}")
    if rate_1 == rate_2:
        raise ValueError(f"rate_2 must differ from rate_1, {rate_1}")
    if not 0 < power < 1:
        raise ValueError(f"power must be between 0 and 1, not {power}")
    mean = (rate_1 + rate_2) / 2
    both = rate_1 * (1 - rate_1) + rate_2 * (1 - rate_2)
    reach = normal_quantile(level) * math.sqrt(2 * mean * (1 - mean)) + _quantile(power) * math.sqrt(both)
    return reach**2 / (rate_1 - rate_2) ** 2


def arcsine_effect(rate_1: float, rate_2: float) -> float:
    """Cohen's effect size h = 2 asin(sqrt(p1)) - 2 asin(sqrt(p2)). rates: 0 to 1; ValueError otherwise.

    Cohen J. Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988.
    """
    for name, value in (("rate_1", rate_1), ("rate_2", rate_2)):
        if not 0 <= value <= 1:
            raise ValueError(f"{name} must be from 0 to 1, not {value}")
    return 2 * math.asin(math.sqrt(rate_1)) - 2 * math.asin(math.sqrt(rate_2))


def arcsine_power(effect: float, per_group: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Power to find an effect h with so many independent units in each of two groups.

    effect: finite. per_group: above 0. alpha: between 0 and 1; one-sided in the direction of a positive effect, or
    two-sided. Gives a probability. ValueError out of range.

    Cohen J. Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988.
    Referee: fixtures/reference/sample_size.json
    """
    if not math.isfinite(effect):
        raise ValueError(f"effect must be finite, not {effect}")
    if not 0 < per_group < math.inf:
        raise ValueError(f"per_group must be finite and above 0, not {per_group}")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must be between 0 and 1, not {alpha}")
    distance = effect * math.sqrt(per_group / 2)
    if not two_sided:
        return float(ndtr(distance - _quantile(1 - alpha)))
    reach = _quantile(1 - alpha / 2)
    return float(ndtr(distance - reach) + ndtr(-distance - reach))


def years_of_volume(units: int, per_year: float) -> str:
    """How long the practice works for so many units, as a sentence; beyond five years it names the way out.

    units: whole number, 1 or more. per_year: units in a year, finite and 0 or more. ValueError otherwise.
    """
    if not (units >= 1 and float(units).is_integer()):
        raise ValueError(f"units must be a whole number of at least 1, not {units}")
    if not 0 <= per_year < math.inf:
        raise ValueError(f"per_year must be finite and at least 0, not {per_year}")
    if per_year == 0:
        return f"{units:,} are needed; without operations in a year no time can be given."
    years = units / per_year
    volume = f"{units:,} at {per_year:,.0f} a year are"
    if years > MOST_YEARS:
        return f"{volume} more than {MOST_YEARS} years of this practice's volume: pool with other practices."
    return f"{volume} {years:.1f} years of this practice's volume."


def _fewest_units(events: npt.NDArray[np.int64], rate: float, alpha: float) -> npt.NDArray[np.int64]:
    """For each number of events c the smallest n with P(X <= c | n, rate) <= alpha."""
    units = np.maximum(np.ceil(bdtrin(events, alpha, rate)).astype(np.int64), events + 1)
    while (high := (units > events + 1) & (bdtr(events, units - 1, rate) <= alpha)).any():
        units = units - high
    while (low := bdtr(events, units, rate) > alpha).any():
        units = units + low
    return np.asarray(units, dtype=np.int64)


def _deviation(rate: float) -> float:
    return math.sqrt(rate * (1 - rate))


def _quantile(probability: float) -> float:
    return float(ndtri(probability))


def _too_many() -> Needed:
    return Needed(None, f"more than {MOST_UNITS:,} units would be needed")
