"""Do patients come back because it regrew? Three estimates that bound what unplanned visits can do. Numbers only."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.intervals import Days, SideIntervals, from_findings
from audit.stats.turnbull import ShareByDay, npmle

# The estimates are told apart from here on (our own choice: one percentage point).
APART = 0.01


@dataclass(frozen=True)
class ThreeEstimates:
    """The share regrown by one day, seen three ways.

    all_reviews: from every finding; the figure to print. planned_only: without what was found at visits that the
    patient asked for. silent_clear: every side not seen regrown counts as clear until the data cut-off.
    regrown, unplanned: sides seen regrown, and those of them first found at an unplanned visit.
    warning: what to print where the estimates are more than a percentage point apart, else empty.
    """

    day: float
    all_reviews: ShareByDay
    planned_only: ShareByDay
    silent_clear: ShareByDay
    regrown: int
    unplanned: int
    warning: str = ""

    @property
    def range(self) -> tuple[float, float] | None:
        """Least and greatest of the estimates there are; None without any."""
        found = [share.middle for share in (self.all_reviews, self.planned_only, self.silent_clear)]
        known = [middle for middle in found if middle is not None]
        return (min(known), max(known)) if known else None


def three_estimates(
    side: npt.ArrayLike,
    day: npt.ArrayLike,
    regrown: npt.ArrayLike,
    planned: npt.ArrayLike,
    last_day: npt.ArrayLike,
    horizon: float = 365.0,
    followed_until: npt.ArrayLike = np.inf,
) -> ThreeEstimates:
    """The share regrown by `horizon` from all reviews, from planned ones only, and with silence taken as clear.

    side, day, regrown: one entry per finding, as for `from_findings`. planned: true or false per finding; false where
    the patient asked for the visit. last_day: shape (sides,), days from operation to the data cut-off, finite, 0 or
    later. horizon: finite, 0 or later. followed_until: as for `from_findings`; silence counts no further either.
    Reviews whose days depend on regrowth make the first estimate too high; the second assumes that attendance at
    planned reviews does not change after an unplanned finding; the third is the least that silence allows.
    Refuses with ValueError what `from_findings` refuses, and findings after the data cut-off.
    """
    cut_off = np.asarray(last_day, dtype=np.float64)
    if cut_off.ndim != 1 or not ((cut_off >= 0) & (cut_off < np.inf)).all():
        raise ValueError("last_day must hold one finite number of days per side, 0 or later")
    sides = len(cut_off)
    every = from_findings(side, day, regrown, sides, followed_until)
    days, seen, expected = (np.asarray(values) for values in (day, regrown, planned))
    places = np.asarray(side).astype(np.int64)
    if expected.shape != places.shape or not np.isin(expected, (0, 1)).all():
        raise ValueError(f"planned must be true or false for each of {len(places)} findings")
    if (days > cut_off[places]).any():
        row = int(np.flatnonzero(days > cut_off[places])[0])
        raise ValueError(f"day must be at most last_day, {cut_off[places[row]]:g}, not {days[row]:g} (row {row})")
    expected = expected.astype(np.bool_)
    kept = from_findings(places[expected], days[expected], seen[expected], sides, followed_until)
    silent = np.maximum(every.left, np.minimum(cut_off, followed_until))
    never = np.isinf(every.right)
    shares = (
        _share(every.left, every.right, horizon),
        _share(kept.left, kept.right, horizon),
        _share(np.where(never, silent, every.left), every.right, horizon),
    )
    count, unplanned = int(np.count_nonzero(~never)), _first_found_unplanned(every, kept)
    return ThreeEstimates(horizon, *shares, count, unplanned, _warning(shares, count, unplanned))


def _share(left: Days, right: Days, horizon: float) -> ShareByDay:
    return npmle(left, right).at(horizon)


def _first_found_unplanned(every: SideIntervals, kept: SideIntervals) -> int:
    """Sides whose first regrown finding goes away with the unplanned visits."""
    return int(np.count_nonzero(np.isfinite(every.right) & (every.right != kept.right)))


def _warning(shares: tuple[ShareByDay, ...], regrown: int, unplanned: int) -> str:
    middles = [share.middle for share in shares if share.middle is not None]
    apart = max(middles) - min(middles) if middles else 0.0
    if apart <= APART:
        return ""
    return (
        f"the estimates are {100 * apart:.1f} percentage points apart: {unplanned} of {regrown} regrowths "
        f"({100 * unplanned / regrown:.0f} %) were first found at a visit that was not planned"
    )
