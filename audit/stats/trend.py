"""Does a rate rise or fall along ordered classes, such as exposure time? Independent units only; knows numbers only.

A trend seen in records does not show a cause: people chose the exposure.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import chdtrc, gammaln, xlog1py, xlogy

from audit.stats.proportion import TIES, Floats, check_counts

# Below these the normal approximation is left for the exact test, and the result called exploratory (our own choice).
FEWEST_CLASSES = 3
FEWEST_EVENTS = 10
# More different sums of scores than this would take longer than a page may.
MOST_SUMS = 200_000


class TrendTest(StrEnum):
    """Which test gave the p-value of a trend."""

    COCHRAN_ARMITAGE = "Cochran-Armitage"
    EXACT = "exact, conditional on the number of events"
    NONE = "no test"


@dataclass(frozen=True)
class Trend:
    """A trend of rates along scores.

    scores, events, totals: of the classes that have units, in the order given.
    z: standardised trend, above 0 where rates rise with the score; chi_square its square. Both None where not
    estimable; with the exact test they are shown as description only.
    p: two-sided p-value of `test`; None where `withheld` says why.
    exploratory: why the result is no more than a hint; empty where it is more.
    """

    scores: tuple[float, ...]
    events: tuple[int, ...]
    totals: tuple[int, ...]
    z: float | None
    p: float | None
    test: TrendTest
    exploratory: str = ""
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld

    @property
    def chi_square(self) -> float | None:
        return None if self.z is None else self.z**2

    @property
    def mantel(self) -> float | None:
        """Mantel's form of the chi-square, (N - 1) / N times as large: (N - 1) times the squared correlation."""
        return None if self.z is None else self.z**2 * (sum(self.totals) - 1) / sum(self.totals)


def exposure_scores(seconds: Sequence[float]) -> tuple[float, ...]:
    """Scores per doubling of the exposure: log2(seconds / 60); 0 at one minute.

    seconds: finite and above 0; a missing exposure is for the caller to leave out and count. ValueError otherwise.
    """
    for place, value in enumerate(seconds):
        if not 0 < value < math.inf:
            raise ValueError(f"seconds[{place}] must be finite and above 0, not {value}")
    return tuple(math.log2(value / 60) for value in seconds)


def trend(
    events: Sequence[int],
    totals: Sequence[int],
    *,
    seconds: Sequence[float] | None = None,
    scores: Sequence[float] | None = None,
) -> Trend:
    """Test of a linear trend: Cochran and Armitage's, or the exact one where the data are thin.

    events, totals: one whole number per class, 0 <= events <= total; a class may be empty and is then left aside.
    Either seconds (exposure of each class, scored per doubling) or scores (finite numbers, in any order).
    Exact and exploratory with fewer than 3 classes or fewer than 10 events; not estimable with one class or one
    score, without an event, and with only events. Refuses with ValueError different lengths, values out of range, and
    what `exact_trend` refuses.

    Armitage P. Biometrics 1955;11:375-386. Referee: fixtures/reference/trend.json
    """
    found = _classes(events, totals, _scores(seconds, scores))
    if found.withheld:
        return found
    reason = _thin(found)
    if reason:
        return _tested(found, _exact_p(found), TrendTest.EXACT, reason)
    return _tested(found, _normal_p(found), TrendTest.COCHRAN_ARMITAGE, "")


def cochran_armitage(events: Sequence[int], totals: Sequence[int], scores: Sequence[float]) -> Trend:
    """Cochran and Armitage's test whatever the numbers: (sum x s - p sum n s) / sqrt(V), as printed elsewhere.

    Takes, withholds and refuses the same as `trend`, with V = p (1 - p) (sum n s^2 - (sum n s)^2 / N).
    `exploratory` says where the exact test would be better.
    """
    found = _classes(events, totals, _scores(None, scores))
    return _tested(found, _normal_p(found), TrendTest.COCHRAN_ARMITAGE, _thin(found))


def exact_trend(events: Sequence[int], totals: Sequence[int], scores: Sequence[float]) -> Trend:
    """Exact test of a linear trend, given the number of events: the sum of scores at least as far from expectation.

    Takes, withholds and refuses the same as `trend`; also ValueError where more than 200,000 different sums of
    scores are possible, which only happens with many events and scores without a common step.
    """
    found = _classes(events, totals, _scores(None, scores))
    return found if found.withheld else _tested(found, _exact_p(found), TrendTest.EXACT, _thin(found))


def _tested(found: Trend, p: float | None, test: TrendTest, exploratory: str) -> Trend:
    if found.withheld:
        return found
    return Trend(found.scores, found.events, found.totals, found.z, p, test, exploratory)


def _classes(events: Sequence[int], totals: Sequence[int], scores: Sequence[float]) -> Trend:
    """The classes that have units, with z; without test yet."""
    for name, values in (("totals", totals), ("scores", scores)):
        if len(values) != len(events):
            raise ValueError(f"{name} must have as many entries as events, {len(events)}, not {len(values)}")
    for place, (found, total) in enumerate(zip(events, totals, strict=True)):
        if total == 0 and found == 0:
            continue
        try:
            check_counts(found, total)
        except ValueError as problem:
            raise ValueError(f"class {place}: {problem}") from problem
    kept = [place for place, total in enumerate(totals) if total]
    x, n = tuple(int(events[place]) for place in kept), tuple(int(totals[place]) for place in kept)
    s = tuple(float(scores[place]) for place in kept)
    reason = _reason(x, n, s)
    z = None if reason else _standardised(x, n, s)
    return Trend(s, x, n, z, None, TrendTest.NONE, withheld=reason)


def _reason(events: Sequence[int], totals: Sequence[int], scores: Sequence[float]) -> str:
    if not totals:
        return "no cases"
    if len(set(scores)) < 2:
        return "not estimable: a trend needs at least two classes with different scores"
    if sum(events) in (0, sum(totals)):
        return f"not estimable: {'every' if sum(events) else 'no'} unit had the event"
    return ""


def _standardised(events: Sequence[int], totals: Sequence[int], scores: Sequence[float]) -> float:
    x, n, s = (np.asarray(values, dtype=float) for values in (events, totals, scores))
    rate = x.sum() / n.sum()
    centred = s - (n * s).sum() / n.sum()
    variance = rate * (1 - rate) * (n * centred**2).sum()
    return float((x * centred).sum() / math.sqrt(variance))


def _thin(found: Trend) -> str:
    events = sum(found.events)
    if len(set(found.scores)) < FEWEST_CLASSES:
        return f"exploratory: {len(set(found.scores))} classes, at least {FEWEST_CLASSES} are needed"
    if events < FEWEST_EVENTS:
        counted = "1 event" if events == 1 else f"{events} events"
        return f"exploratory: {counted}, at least {FEWEST_EVENTS} are needed"
    return ""


def _normal_p(found: Trend) -> float | None:
    return None if found.chi_square is None else float(chdtrc(1, found.chi_square))


def _exact_p(found: Trend) -> float:
    events, total = sum(found.events), sum(found.totals)
    scores = np.asarray(found.scores)
    # Measured from the mean in units of the spread, so that equal sums are recognised whatever the scale.
    scores = (scores - np.dot(scores, found.totals) / total) / np.ptp(scores)
    sums, chance = _distribution(found.totals, scores, events)
    expected = float(sums @ chance)
    distance = abs(float(np.dot(scores, found.events)) - expected)
    return float(min(1.0, chance[np.abs(sums - expected) >= distance - TIES * max(1.0, distance)].sum()))


def _distribution(totals: Sequence[int], scores: Floats, events: int) -> tuple[Floats, Floats]:
    """Sums of scores that `events` events can give, and their probabilities, one class after the other."""
    rate, ahead = events / sum(totals), sum(totals)
    known: dict[int, tuple[Floats, Floats]] = {0: (np.zeros(1), np.ones(1))}
    for total, score in zip(totals, scores, strict=True):
        own, ahead = _binomial(total, rate), ahead - total
        parts: dict[int, list[tuple[Floats, Floats]]] = {}
        for placed, (sums, chance) in known.items():
            # What is left must fit into the classes to come.
            for more in range(max(0, events - placed - ahead), min(total, events - placed) + 1):
                parts.setdefault(placed + more, []).append((sums + more * score, chance * own[more]))
        known = {placed: _merged(pieces) for placed, pieces in parts.items()}
        if sum(sums.size for sums, _ in known.values()) > MOST_SUMS:
            raise ValueError(f"events must give at most {MOST_SUMS} different sums of scores; "
                             f"{events} in {len(totals)} classes give more")  # fmt: skip
    sums, chance = known[events]
    return sums, chance / chance.sum()


def _merged(pieces: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    sums = np.concatenate([own for own, _ in pieces])
    chance = np.concatenate([own for _, own in pieces])
    _, first, place = np.unique(np.round(sums / TIES), return_index=True, return_inverse=True)
    return np.asarray(sums[first]), np.bincount(place, weights=chance).astype(np.float64)


def _binomial(total: int, rate: float) -> Floats:
    count = np.arange(total + 1)
    ways = gammaln(total + 1) - gammaln(count + 1) - gammaln(total - count + 1)
    return np.asarray(np.exp(ways + xlogy(count, rate) + xlog1py(total - count, -rate)))


def _scores(seconds: Sequence[float] | None, scores: Sequence[float] | None) -> Sequence[float]:
    if (seconds is None) == (scores is None):
        raise ValueError("either seconds or scores must be given, not both and not neither")
    if seconds is not None:
        return exposure_scores(seconds)
    given = list(scores or ())
    for place, value in enumerate(given):
        if not math.isfinite(value):
            raise ValueError(f"scores[{place}] must be finite, not {value}")
    return given
