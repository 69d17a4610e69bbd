"""How many sides have regrown by a day, when each is only known to have regrown between two reviews.

The non-parametric maximum likelihood estimate for interval-censored times. Knows numbers only.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.constrained_newton import maximise, run_masses
from audit.stats.intervals import Days, Intervals, Support, aggregate, maximal_intersections

# A day is given as a range where its bounds are further apart than this (our own choice: half a percentage point).
WIDEST_AS_ONE = 0.005


@dataclass(frozen=True)
class ShareByDay:
    """The share regrown by one day, 0 to 1, between `lower` and `upper`; both None where `withheld` says why.

    The data do not say where inside an interval without reviews its share regrew: lower has it at the end, upper at
    the beginning.
    """

    day: float
    lower: float | None
    upper: float | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld

    @property
    def middle(self) -> float | None:
        return None if self.lower is None or self.upper is None else (self.lower + self.upper) / 2

    @property
    def is_range(self) -> bool:
        """Whether the bounds are too far apart to print the middle alone."""
        return self.lower is not None and self.upper is not None and self.upper - self.lower > WIDEST_AS_ONE


@dataclass(frozen=True, eq=False)
class Curve:
    """The estimate: mass[j] regrew after start[j] and by end[j].

    start, end, mass: shape (m,), in order of days, only stretches with mass; start == end is an exact day; an
    infinite last end is the share that had not regrown by its start. Empty where `withheld` says why.
    total: weight of the intervals used; uninformative: weight of those that say nothing, (0, infinity].
    log_likelihood: natural logarithm. gap: how far the fit is from the optimality condition, as a part of total.
    steps: Newton steps taken.
    """

    start: Days
    end: Days
    mass: Days
    total: float
    uninformative: float
    log_likelihood: float
    gap: float
    steps: int
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld

    @property
    def last_day(self) -> float:
        """The last day whose share is known: nothing is known later but "not by this day". Infinity if all regrew."""
        if not len(self.end):
            return 0.0
        return float(self.start[-1]) if np.isinf(self.end[-1]) else np.inf

    def bounds(self, days: npt.ArrayLike) -> tuple[Days, Days]:
        """Lower and upper bound of the share regrown by each day, shapes as `days`; 0 and 1 where nothing is known."""
        wanted = np.asarray(days, dtype=np.float64)
        if not len(self.mass):
            return np.zeros(wanted.shape), np.ones(wanted.shape)
        return bounds(self.start, self.end, self.mass, wanted)

    def at(self, day: float) -> ShareByDay:
        """The share regrown by the end of `day`, 0 or later; withheld after the last day anyone was seen clear."""
        if not 0 <= day < np.inf:
            raise ValueError(f"day must be finite and at least 0, not {day}")
        if self.withheld:
            return ShareByDay(day, None, None, self.withheld)
        if day > self.last_day:
            reason = f"not estimable: no side was seen without regrowth later than day {self.last_day:g}"
            return ShareByDay(day, None, None, reason)
        lower, upper = self.bounds([day])
        return ShareByDay(day, float(lower[0]), float(upper[0]))


def npmle(left: npt.ArrayLike, right: npt.ArrayLike, weight: npt.ArrayLike | None = None) -> Curve:
    """The share regrown by each day, from intervals (left, right] that hold the day of regrowth of each side.

    left, right: shape (n,), days, 0 <= left <= right; left is the last day seen clear, right the first day seen
    regrown, infinity if never; left == right is an exact day. weight: shape (n,), 0 or more; 1 each if not given.
    Maximises sum of w log(F(right) - F(left)) over all distributions F. The masses of the maximal intersections are
    unique; where inside them the mass lies is not, hence the bounds of `Curve.at`. Assumes that the days of review do
    not depend on regrowth.
    Without any interval that says something the curve is empty and says so. ValueError for what is no interval
    (`aggregate`) and, in its form NotConverged, without a maximum after 2,000 steps: no estimate then.

    Peto R. Appl Stat 1973;22:86-91; Turnbull BW. J R Stat Soc B 1976;38:290-295; Gentleman R, Geyer CJ. Biometrika
    1994;81:618-623; algorithm: Wang Y. Comput Stat Data Anal 2008;52:2388-2402.
    Referee: fixtures/reference/curves.json
    """
    return fit(aggregate(left, right, weight))[0]


def fit(intervals: Intervals) -> tuple[Curve, Support, Days]:
    """As `npmle`, from intervals aggregated already; also every maximal intersection and its mass, which may be 0."""
    support = maximal_intersections(intervals)
    weight = intervals.weight
    if not len(weight):
        none = np.zeros(0)
        reason = "not estimable: no side has a review that tells anything"
        return Curve(none, none, none, 0.0, intervals.uninformative, 0.0, 0.0, 0, reason), support, none
    found = maximise(support.first, support.last, weight, len(support.start))
    held = found.mass > 0
    curve = Curve(
        support.start[held], support.end[held], found.mass[held],
        float(weight.sum()), intervals.uninformative,
        float(weight @ np.log(run_masses(support.first, support.last, found.mass))), found.gap, found.steps,
    )  # fmt: skip
    return curve, support, found.mass


def bounds(start: Days, end: Days, mass: Days, days: Days) -> tuple[Days, Days]:
    """Mass that ended by each day, and mass that began before it: the bounds of the share regrown by that day."""
    reached = np.zeros(len(mass) + 1)
    np.cumsum(mass, out=reached[1:])
    reached[-1] = 1.0
    ended = np.searchsorted(end, days, side="right")
    begun = np.searchsorted(start, days, side="left")
    return reached[ended], reached[np.maximum(ended, begun)]
