"""By which day a given share has had the event, when each is only known to lie between two looks. Numbers only."""

from dataclasses import dataclass
from math import isfinite

import numpy as np
import numpy.typing as npt

from audit.stats.bootstrap import FEWEST_REPLICATES, RegrowthEstimate, regrowth
from audit.stats.turnbull import Curve

# A sum of masses may miss a share by rounding.
ROUNDING = 1e-9


@dataclass(frozen=True)
class DayOfShare:
    """The stretch of days within which the share is reached: after `start`, by `end`.

    start, end: whole days; both None where the share is not reached, and `withheld` says so.
    low, high: limits of the day at `level`; None where the limits of the curve never cross the share.
    sides, patients: behind the estimate.
    """

    share: float
    start: float | None
    end: float | None
    low: float | None
    high: float | None
    level: float
    sides: int
    patients: int
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def stretch_of_share(curve: Curve, share: float) -> tuple[float, float] | None:
    """Where the curve reaches the share: the maximal intersection that holds it; None where it is never reached.

    share: between 0 and 1. Where inside the stretch it is reached the data do not say.
    """
    if not 0 < share < 1:
        raise ValueError(f"share must be between 0 and 1, not {share}")
    if not len(curve.mass):
        return None
    reached = np.cumsum(curve.mass)
    place = int(np.argmax(reached >= share - ROUNDING))
    if reached[place] < share - ROUNDING or not isfinite(float(curve.end[place])):
        return None
    return float(curve.start[place]), float(curve.end[place])


def days_of_shares(
    patient: npt.ArrayLike, left: npt.ArrayLike, right: npt.ArrayLike, shares: tuple[float, ...],
    replicates: int = FEWEST_REPLICATES, level: float = 0.95,
) -> tuple[DayOfShare, ...]:  # fmt: skip
    """The day by which each of `shares` has had the event, with limits clustered on the patient.

    patient, left, right, replicates, level: as for `regrowth`. shares: between 0 and 1.
    The limits are those days on which the curve's own limits hold the share: low is the first day whose upper limit
    reaches it, high the first whose lower limit does. The curve is asked on every day that ends an interval.

    Brookmeyer R, Crowley J. Biometrics 1982;38:29-41 (limits of a median by inverting those of the curve).
    """
    lefts, rights = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    ends = np.unique(np.concatenate((lefts[lefts > 0], rights[np.isfinite(rights)])))
    grid = tuple(float(day) for day in ends) or (1.0,)
    found = regrowth(patient, lefts, rights, grid, replicates, level)
    return tuple(_day(found.sample.curve, found, share, level) for share in shares)


def _day(curve: Curve, found: RegrowthEstimate, share: float, level: float) -> DayOfShare:
    stretch = stretch_of_share(curve, share)
    sides, patients = found.sample.sides, found.sample.patients
    if stretch is None:
        reason = curve.withheld or f"not reached: fewer than {share:.0%} were seen to have it"
        return DayOfShare(share, None, None, None, None, level, sides, patients, reason)
    low = next((day.share.day for day in found.days if day.high is not None and day.high >= share), None)
    high = next((day.share.day for day in found.days if day.low is not None and day.low >= share), None)
    return DayOfShare(share, *stretch, low, high, level, sides, patients)
