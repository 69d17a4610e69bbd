"""The share regrown by given days with its interval: patients drawn again with all their sides. Knows numbers only."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from audit.stats.patient_types import seed_of
from audit.stats.proportion import check_level, normal_quantile, score_limits, zero_event_upper
from audit.stats.replicates import Replicates, replicate_shares
from audit.stats.samples import Sample, counted, sample_of
from audit.stats.turnbull import ShareByDay

REPORTED_DAYS = (180.0, 365.0, 730.0)
FEWEST_REPLICATES = 1_000
# Below this number of patients a share stands with a word of caution (our own choice).
ENOUGH_TO_JUDGE = 20


class CurveMethod(StrEnum):
    """How the limits of a share of the curve were obtained."""

    BOOTSTRAP = "bootstrap of patients, limits on the complementary log-log scale"
    PATIENTS = "Wilson score with patients as units"
    NONE = "no interval"


@dataclass(frozen=True)
class Regrown:
    """The share regrown by one day with its interval.

    share: bounds and middle of the estimate. low, high: limits, 0 to 1, around the middle; None where `withheld`
    says why. standard_error: of the middle, over the replicates; None where the patients are the units.
    one_sided: exact one-sided upper limit at the same level where nothing has regrown, else None.
    sides, patients: under observation, seen clear on or after the day.
    unknown: replicates without an estimate for this day, left out. caution: to be printed beside it, or empty.
    """

    share: ShareByDay
    low: float | None
    high: float | None
    method: CurveMethod
    level: float
    sides: int
    patients: int
    standard_error: float | None = None
    one_sided: float | None = None
    unknown: int = 0
    caution: str = ""
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True, eq=False)
class RegrowthEstimate:
    """The curve with intervals at the days asked for.

    sample: the sides and their fit; knows how many are under observation on any day and where the curve ends.
    replicates, seed: of the bootstrap; 0 replicates where no day may be shown. worst_gap: the largest relative
    optimality gap of any fit.
    """

    sample: Sample
    days: tuple[Regrown, ...]
    replicates: int
    seed: int
    worst_gap: float


def regrowth(
    patient: npt.ArrayLike,
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    days: Sequence[float] = REPORTED_DAYS,
    replicates: int = FEWEST_REPLICATES,
    level: float = 0.95,
) -> RegrowthEstimate:
    """The share regrown by each of `days`, with limits that know that sides of one patient are alike.

    patient: shape (n,), a whole number or text per patient. left, right: shape (n,), as for `npmle`.
    days: finite, 0 or later. replicates: at least 1,000. level: two-sided, between 0 and 1.
    Patients are drawn with replacement, each with all sides, and the curve is fitted again from the start; se is the
    standard deviation of the middle of the bounds. With theta = log(-log(1 - F)) and
    se(theta) = se / ((1 - F) |log(1 - F)|) the limits are F = 1 - exp(-exp(theta -/+ z se(theta))).
    Where nothing, or nothing but the sides of one patient, can have regrown by the day, the bootstrap sees no
    variance: Wilson with the patients under observation as units instead.
    Withheld below five patients, and after the last day with ten patients under observation.
    With reviews on strictly continuous days this bootstrap is not consistent in theory; planned reviews that share
    days are the benign case.
    ValueError for other input, and in its form NotConverged if any fit fails.

    Groeneboom P, Wellner JA. Information Bounds and Nonparametric Maximum Likelihood Estimation. Birkhauser 1992;
    Sen B, Banerjee M, Woodroofe M. Ann Stat 2010;38:1953-1977 (on consistency).
    """
    check_level(level)
    asked = check_days(days)
    check_replicates(replicates)
    sample = sample_of(patient, left, right)
    seed = seed_of("bootstrap", [sample.intervals], sample.types)
    drawn = None
    if not all(sample.withheld_at(day) for day in asked):
        drawn = replicate_shares([sample], sample.types, asked, replicates, np.random.default_rng(seed))[0]
    return RegrowthEstimate(
        sample,
        tuple(regrown(sample, day, drawn, place, level) for place, day in enumerate(asked)),
        replicates if drawn else 0,
        seed,
        max(sample.curve.gap, drawn.worst_gap if drawn else 0.0),
    )


def regrown(sample: Sample, day: float, drawn: Replicates | None, place: int, level: float) -> Regrown:
    """The share of a sample by one day with limits from column `place` of its replicates; withheld without any."""
    sides, patients = sample.sides_observed(day), sample.patients_observed(day)
    reason = sample.withheld_at(day)
    share = sample.curve.at(day)
    middle = share.middle
    if reason or drawn is None or middle is None:
        nothing = ShareByDay(day, None, None, reason)
        return Regrown(nothing, None, None, CurveMethod.NONE, level, sides, patients, withheld=reason)
    caution = f"too few to judge: {counted(sample.patients)}" if sample.patients < ENOUGH_TO_JUDGE else ""
    if not 0 < middle < 1 or sample.patients_possibly_regrown(day) < 2:
        low, high = score_limits(middle * patients, patients, level)
        upper = zero_event_upper(patients, level) if middle == 0 else None
        return Regrown(
            share, low, high, CurveMethod.PATIENTS, level, sides, patients, one_sided=upper, caution=caution
        )  # fmt: skip
    known = drawn.known[:, place]
    error = float(np.std(drawn.middle[known, place], ddof=1))
    low, high = complementary_log_log_limits(middle, error, level)
    return Regrown(
        share, low, high, CurveMethod.BOOTSTRAP, level, sides, patients, error,
        unknown=int(np.count_nonzero(~known)), caution=caution,
    )  # fmt: skip


def complementary_log_log_limits(share: float, standard_error: float, level: float = 0.95) -> tuple[float, float]:
    """Limits of a share from its standard error, computed for log(-log(1 - share)): never below 0 or above 1.

    share: above 0 and below 1. standard_error: of the share itself, finite, 0 or more. level: two-sided.
    """
    if not 0 < share < 1:
        raise ValueError(f"share must be between 0 and 1, not {share}")
    if not 0 <= standard_error < math.inf:
        raise ValueError(f"standard_error must be finite and at least 0, not {standard_error}")
    hazard = -math.log1p(-share)
    reach = min(normal_quantile(level) * standard_error / ((1 - share) * hazard), 500.0)
    return -math.expm1(-hazard * math.exp(-reach)), -math.expm1(-hazard * math.exp(reach))


def check_days(days: Sequence[float]) -> tuple[float, ...]:
    """The days as numbers; refuses with ValueError what is not finite or below 0."""
    asked = tuple(float(day) for day in days)
    for day in asked:
        if not 0 <= day < math.inf:
            raise ValueError(f"days must be finite and at least 0, not {day}")
    return asked


def check_replicates(replicates: int) -> None:
    if replicates < FEWEST_REPLICATES:
        raise ValueError(f"replicates must be at least {FEWEST_REPLICATES}, not {replicates}")
