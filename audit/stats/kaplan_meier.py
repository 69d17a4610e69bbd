"""The Kaplan-Meier curve and the log-rank test, for times that are known exactly. Knows numbers only.

For regrowth a labelled comparison only, "as if it regrew on the day it was seen": that day is later than regrowth,
so early shares come out too low and late ones too high.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.proportion import check_level, normal_quantile

Numbers = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Step:
    """The curve from one day with an event to the next.

    at_risk: units without event just before the day. events: on the day. survival: share without event after it.
    standard_error: Greenwood's. low, high: limits of survival on the log(-log) scale. These three are None where
    survival is 0: there they are undefined.
    """

    day: float
    at_risk: int
    events: int
    survival: float
    standard_error: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class KaplanMeier:
    """steps: one per day with an event. total: units. last_day: last day anyone was observed, 0 without units."""

    steps: tuple[Step, ...]
    total: int
    last_day: float
    level: float

    def survival(self, day: float) -> float | None:
        """Share without event after `day`; None after the last day observed, unless it has come to 0."""
        reached = [step.survival for step in self.steps if step.day <= day]
        if day > self.last_day and not (reached and reached[-1] == 0):
            return None
        return reached[-1] if reached else 1.0


@dataclass(frozen=True)
class LogRank:
    """observed, expected: events per group, in order of the group's name. statistic: chi-square on `degrees` degrees
    of freedom; it and p are None where `withheld` says why."""

    groups: tuple[str, ...]
    observed: tuple[int, ...]
    expected: tuple[float, ...]
    statistic: float | None
    degrees: int
    p: float | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def as_seen(left: npt.ArrayLike, right: npt.ArrayLike) -> tuple[Numbers, Flags]:
    """Times and events as if each side regrew on the day it was seen: right if finite, else left without an event."""
    lefts, rights = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    seen = np.isfinite(rights)
    return np.where(seen, rights, lefts), seen


def kaplan_meier(time: npt.ArrayLike, event: npt.ArrayLike, level: float = 0.95) -> KaplanMeier:
    """S(t) = product over days with events of (1 - d / n), for exact or right-censored times.

    time: shape (n,), finite, 0 or later. event: shape (n,), true or false; a unit censored on the day of an event is
    at risk on that day. level: two-sided.
    Greenwood: se = S sqrt(sum d / (n (n - d))); limits S^exp(-/+ z se / (S log S)).
    Refuses with ValueError lists of different lengths and times out of range. Without units there are no steps.

    Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481; Greenwood M. The Errors of Sampling of the Survivorship
    Tables. HMSO 1926; limits: Kalbfleisch JD, Prentice RL. The Statistical Analysis of Failure Time Data. Wiley 1980.
    Referee: fixtures/reference/curves.json
    """
    z = normal_quantile(check_level(level))
    times, events = _checked(time, event)
    days, deaths, at_risk = _counts(times, events)
    steps, survival, variance = [], 1.0, 0.0
    for day, died, risk in zip(days.tolist(), deaths.tolist(), at_risk.tolist(), strict=True):
        survival *= 1 - died / risk
        if died == risk:
            steps.append(Step(day, risk, died, 0.0, None, None, None))
            break
        variance += died / (risk * (risk - died))
        error = math.sqrt(variance)
        reach = z * error / -math.log(survival)
        low, high = survival ** math.exp(reach), survival ** math.exp(-reach)
        steps.append(Step(day, risk, died, survival, survival * error, low, high))
    return KaplanMeier(tuple(steps), len(times), float(times.max(initial=0.0)), level)


def log_rank(time: npt.ArrayLike, event: npt.ArrayLike, group: npt.ArrayLike) -> LogRank:
    """Do two or more groups of independent units have the same curve?

    time, event: as for `kaplan_meier`. group: shape (n,), a name or whole number per unit.
    Statistic (O - E)' V^-1 (O - E) with the hypergeometric variance, chi-square with one degree of freedom less than
    groups. Not estimable without an event while two groups were at risk. ValueError for fewer than two groups.

    Mantel N. Cancer Chemother Rep 1966;50:163-170. Referee: fixtures/reference/curves.json
    """
    from scipy.special import chdtrc

    times, events = _checked(time, event)
    labels = np.asarray(group)
    if labels.shape != times.shape:
        raise ValueError(f"group must have one entry per unit, {len(times)}, not {labels.shape}")
    names, member = np.unique(labels, return_inverse=True)
    if len(names) < 2:
        raise ValueError(f"group must hold at least 2 groups, not {len(names)}")
    days, deaths, at_risk = _counts(times, events)
    of_group = [_counts(times[member == place], events[member == place], days) for place in range(len(names))]
    risk = np.array([counts[2] for counts in of_group], dtype=np.float64).reshape(len(names), len(days))
    observed = np.array([counts[1].sum() for counts in of_group])
    share = risk / at_risk
    expected = (share * deaths).sum(axis=1)
    spread = deaths * np.where(at_risk > 1, (at_risk - deaths) / np.maximum(at_risk - 1, 1), 0.0)
    variance = np.diag((share * spread).sum(axis=1)) - (share * spread) @ share.T
    found = tuple(str(name) for name in names), tuple(observed.tolist()), tuple(expected.tolist())
    degrees = len(names) - 1
    if np.linalg.matrix_rank(variance[1:, 1:]) < degrees:
        return LogRank(*found, None, degrees, None, "not estimable: no event while all groups were at risk")
    difference = (observed - expected)[1:]
    statistic = float(difference @ np.linalg.solve(variance[1:, 1:], difference))
    return LogRank(*found, statistic, degrees, float(chdtrc(degrees, statistic)))


def _checked(time: npt.ArrayLike, event: npt.ArrayLike) -> tuple[Numbers, Flags]:
    times, events = np.asarray(time, dtype=np.float64), np.asarray(event)
    if times.ndim != 1 or times.shape != events.shape:
        raise ValueError(f"time and event must be lists of equal length, not of shapes {times.shape}, {events.shape}")
    wrong = ~((times >= 0) & (times < np.inf))
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise ValueError(f"time must be finite and at least 0, not {times[row]:g} (row {row})")
    if events.dtype != np.bool_ and not np.isin(events, (0, 1)).all():
        raise ValueError("event must be true or false for each unit")
    return times, events.astype(np.bool_)


def _counts(times: Numbers, events: Flags, days: Numbers | None = None) -> tuple[Numbers, Whole, Whole]:
    """Days with events, in order, events on each, and units at risk just before each."""
    wanted = np.unique(times[events]) if days is None else days
    died = np.sort(times[events])
    order = np.sort(times)
    deaths = np.searchsorted(died, wanted, side="right") - np.searchsorted(died, wanted, side="left")
    return wanted, deaths, len(order) - np.searchsorted(order, wanted, side="left")
