"""Exact tests of a two-by-two table of independent units. Where units share patients, the patient is the unit."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import expit, gammaln, xlog1py, xlogy

from audit.stats.proportion import TIES, Floats, check_level, check_table

# Beyond this product or sum of the two totals Boschloo's test takes too long for a page (our own choice).
LARGEST_PRODUCT = 40_000
LARGEST_SUM = 2_000
# Tail probabilities that differ by less than this, relatively, are the same but for rounding.
SAME_TAIL = 1e-10
# Common rates tried before the best of them are looked at more closely.
GRID = 400
BEST_PLACES = 4
ROUNDS = 6


class Test(StrEnum):
    """Which exact test gave the p-values."""

    __test__ = False  # not a test of this project

    FISHER = "Fisher exact"
    FISHER_MID_P = "Fisher exact, mid-P"
    BOSCHLOO = "Boschloo exact, two-sided as twice the smaller"
    BARNARD = "Barnard exact, pooled score statistic, two-sided as twice the smaller"


@dataclass(frozen=True)
class ExactTest:
    """P-values of a two-by-two table, with the test that gave them.

    two_sided; less: the first group has the lower rate; greater: the first group has the higher rate. 0 to 1.
    note: why another test stands here than was asked for; empty where it is the same.
    """

    two_sided: float
    less: float
    greater: float
    test: Test
    note: str = ""


@dataclass(frozen=True)
class ConditionalOddsRatio:
    """Odds ratio that makes the observed table most probable given its margins, with Fisher's exact interval.

    value, low, high: 0 to infinity (no upper limit); all None where `withheld` says why.
    """

    value: float | None
    low: float | None
    high: float | None
    level: float
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def fisher(events_1: int, total_1: int, events_2: int, total_2: int) -> ExactTest:
    """Fisher's exact test: conditional on the number of events in all.

    events, total: whole numbers of each group, 0 <= events <= total, total >= 1; independent units.
    Two-sided: the sum over all tables that are no more probable than the one found. Without any event, or with only
    events, only one table is possible and every p-value is 1. Refuses with ValueError what is out of range.

    Fisher RA. The Design of Experiments. Oliver and Boyd 1935. Referee: fixtures/reference/exact.json
    """
    return _fisher(events_1, total_1, events_2, total_2, half=0.0, test=Test.FISHER)


def fisher_mid_p(events_1: int, total_1: int, events_2: int, total_2: int, note: str = "") -> ExactTest:
    """Fisher's test less half the probability of the table found: nearer to the level, no longer strictly exact.

    Takes and refuses the same as `fisher`; `note` is handed on.

    Lydersen S, Fagerland MW, Laake P. Stat Med 2009;28:1159-1175.
    """
    return _fisher(events_1, total_1, events_2, total_2, half=0.5, test=Test.FISHER_MID_P, note=note)


def boschloo(events_1: int, total_1: int, events_2: int, total_2: int) -> ExactTest:
    """Boschloo's exact test: Fisher's one-sided p-value as statistic, at the worst common rate. Never above Fisher's.

    Takes and refuses the same as `fisher`. Two-sided: twice the smaller one-sided p-value, at most 1; this is not
    unique, and programs that use the two-sided p-value as statistic give another one.
    If total_1 * total_2 is above 40,000 or total_1 + total_2 above 2,000, mid-P Fisher takes its place and `note` says
    so.

    Boschloo RD. Stat Neerl 1970;24:1-35. Referee: fixtures/reference/exact.json
    """
    check_table(events_1, total_1, events_2, total_2)
    if _too_large(total_1, total_2):
        note = f"{total_1:,} times {total_2:,} units are too many for Boschloo's test: mid-P Fisher instead"
        return fisher_mid_p(events_1, total_1, events_2, total_2, note)
    low = _fisher_tails(int(total_1), int(total_2))
    high = low[::-1, ::-1]  # the same table with events and non-events exchanged
    found = (int(events_1), int(events_2))
    return _unconditional(low <= low[found] * (1 + SAME_TAIL), high <= high[found] * (1 + SAME_TAIL), Test.BOSCHLOO)


def barnard(events_1: int, total_1: int, events_2: int, total_2: int) -> ExactTest:
    """Barnard's exact test with the pooled score statistic, at the worst common rate.

    Takes and refuses the same as `fisher`, and groups too large for `boschloo`.

    Barnard GA. Biometrika 1947;34:123-138; as in Mehta CR, Senchaudhuri P. Cytel 2003.
    Referee: fixtures/reference/exact.json
    """
    check_table(events_1, total_1, events_2, total_2)
    if _too_large(total_1, total_2):
        raise ValueError(f"total_1 and total_2 must have a product of at most {LARGEST_PRODUCT} and a sum of at most "
                         f"{LARGEST_SUM}, not {total_1} and {total_2}")  # fmt: skip
    first, second = np.arange(total_1 + 1)[:, None] / total_1, np.arange(total_2 + 1) / total_2
    pooled = (first * total_1 + second * total_2) / (total_1 + total_2)
    spread = pooled * (1 - pooled) * (1 / total_1 + 1 / total_2)
    distance = np.divide(first - second, np.sqrt(spread), out=np.zeros_like(spread), where=spread > 0)
    found = distance[int(events_1), int(events_2)]
    slack = SAME_TAIL * (1 + abs(found))
    return _unconditional(distance <= found + slack, distance >= found - slack, Test.BARNARD)


def conditional_odds_ratio(
    events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95
) -> ConditionalOddsRatio:
    """Conditional maximum likelihood odds ratio with the interval that belongs to Fisher's test.

    Takes and refuses the same as `fisher`; level: two-sided, between 0 and 1.
    At the end of its range the estimate is 0 or infinity with one limit. Without any event, or with only events, it is
    not estimable.

    Agresti A. Categorical Data Analysis, 2nd ed. Wiley 2002, section 3.6. Referee: fixtures/reference/exact.json
    """
    tail = (1 - check_level(level)) / 2
    check_table(events_1, total_1, events_2, total_2)
    events, support = int(events_1), _support(total_1, total_2, events_1 + events_2)
    if support.size == 1:
        reason = "not estimable: no unit had the event" if events_1 == 0 else "not estimable: every unit had the event"
        return ConditionalOddsRatio(None, None, None, level, reason)
    weights = _log_weights(support, total_1, total_2, events_1 + events_2)

    def expected(tilt: float) -> float:
        return float(_tilted(weights, support, tilt) @ support)

    def at_least(tilt: float) -> float:
        return float(_tilted(weights, support, tilt)[support >= events].sum())

    def more(tilt: float) -> float:
        return float(_tilted(weights, support, tilt)[support > events].sum())

    first, last = events == support[0], events == support[-1]
    value = 0.0 if first else math.inf if last else math.exp(_rise(expected, events))
    low = 0.0 if first else math.exp(_rise(at_least, tail))
    high = math.inf if last else math.exp(_rise(more, 1 - tail))
    return ConditionalOddsRatio(value, low, high, level)


def hypergeometric(events: int, total_1: int, total_2: int) -> tuple[Floats, Floats]:
    """Possible numbers of events in the first group given the events in both, and their probabilities.

    events, total_1, total_2: whole numbers, 0 <= events <= total_1 + total_2. Gives two arrays of one length.
    """
    support = _support(total_1, total_2, events)
    return support, _tilted(_log_weights(support, total_1, total_2, events), support, 0.0)


def _fisher(
    events_1: int, total_1: int, events_2: int, total_2: int, *, half: float, test: Test, note: str = ""
) -> ExactTest:
    check_table(events_1, total_1, events_2, total_2)
    support, chance = hypergeometric(events_1 + events_2, total_1, total_2)
    own = float(chance[int(events_1 - support[0])])
    two_sided = chance[chance <= own * (1 + TIES)].sum()
    less, greater = chance[support <= events_1].sum(), chance[support >= events_1].sum()
    p_two, p_less, p_greater = (min(1.0, float(tail) - half * own) for tail in (two_sided, less, greater))
    return ExactTest(p_two, p_less, p_greater, test, note)


def _too_large(total_1: int, total_2: int) -> bool:
    return total_1 * total_2 > LARGEST_PRODUCT or total_1 + total_2 > LARGEST_SUM


def _fisher_tails(total_1: int, total_2: int) -> Floats:
    """P(X <= x1) given x1 + x2, for every table: rows x1, columns x2."""
    rows, columns = np.arange(total_1 + 1)[:, None], np.arange(total_2 + 1)
    logs = _log_ways(total_1)[:, None] + _log_ways(total_2) - _log_ways(total_1 + total_2)[rows + columns]
    # Slanted, so that tables with the same number of events stand below each other.
    slanted = np.zeros((total_1 + 1, total_1 + total_2 + 1))
    slanted[rows, rows + columns] = np.exp(logs)
    return np.asarray(np.cumsum(slanted, axis=0)[rows, rows + columns])


def _unconditional(
    lower: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    upper: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    test: Test,
) -> ExactTest:
    """lower, upper: which tables (rows x1, columns x2) are at least as far out as the one found."""
    # Events and non-events exchanged, so that in both the far tables of a row are its last.
    less, greater = _worst_case(lower), _worst_case(upper[::-1, ::-1])
    return ExactTest(min(1.0, 2 * min(less, greater)), less, greater, test)


def _worst_case(region: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> float:
    """The largest probability that both groups at one common rate give a table of the region.

    region: in every row x1 the last cells, for both statistics only go one way with x2.
    """
    size_1, size_2 = region.shape
    cells = region.sum(axis=1)

    def probability(logits: Floats) -> Floats:
        rates = expit(logits)[:, None]
        tails = np.zeros((logits.size, size_2 + 1))
        np.cumsum(_binomial(size_2 - 1, rates)[:, ::-1], axis=1, out=tails[:, 1:])
        return np.asarray((_binomial(size_1 - 1, rates) * tails[:, cells]).sum(axis=1))

    # Even on the logit scale, to be dense where a region of few tables has its peak.
    reach = math.log(4 * (size_1 + size_2)) + 2
    logits, step = np.linspace(-reach, reach, GRID, retstep=True)
    found = probability(logits)
    for _ in range(ROUNDS):
        best = np.argsort(found)[-BEST_PLACES:]
        logits = np.concatenate([logits[best], (logits[best][:, None] + step * np.linspace(-0.75, 0.75, 7)).ravel()])
        found, step = probability(logits), step / 4
    # At the rates 0 and 1 only one table is possible.
    return min(1.0, float(max(found.max(), region[0, 0], region[-1, -1])))


def _binomial(total: int, rates: Floats) -> Floats:
    """Probabilities of 0 to total events; one row per rate (a column)."""
    count = np.arange(total + 1)
    return np.asarray(np.exp(_log_ways(total) + xlogy(count, rates) + xlog1py(total - count, -rates)))


def _log_ways(total: int) -> Floats:
    """Log of the number of ways to choose 0 to total of total."""
    count = np.arange(total + 1)
    return np.asarray(gammaln(total + 1) - gammaln(count + 1) - gammaln(total - count + 1))


def _support(total_1: int, total_2: int, events: int) -> Floats:
    return np.arange(max(0, events - total_2), min(total_1, events) + 1, dtype=float)


def _log_weights(support: Floats, total_1: int, total_2: int, events: int) -> Floats:
    rest = events - support
    parts = (support + 1, total_1 - support + 1, rest + 1, total_2 - rest + 1)
    weights = -sum(gammaln(part) for part in parts)
    return np.asarray(weights - weights.max())


def _tilted(weights: Floats, support: Floats, tilt: float) -> Floats:
    """Probabilities of the support if the log odds ratio were `tilt`."""
    logs = weights + tilt * support
    chance = np.exp(logs - logs.max())
    return np.asarray(chance / chance.sum())


def _rise(function: Callable[[float], float], target: float) -> float:
    """Where a function that rises with the log odds ratio reaches the target."""
    from scipy.optimize import brentq

    reach = 1.0
    while function(-reach) > target or function(reach) < target:
        reach *= 2
    return float(brentq(lambda tilt: function(tilt) - target, -reach, reach, xtol=1e-12))
