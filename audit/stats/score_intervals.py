"""Score intervals for the difference, ratio and odds ratio of two independent proportions. Knows numbers only."""

import math
from collections.abc import Callable

from audit.stats.differences import Approach, Comparison, Measure, not_estimable, too_thin
from audit.stats.proportion import check_table, normal_quantile

# A function of a possible true value that falls as the value rises, and is 0 at the estimate.
Score = Callable[[float], float]


def score_difference(
    events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95, *, corrected: bool = True
) -> Comparison:
    """Difference of two independent proportions with the score interval.

    Takes, withholds and refuses the same as `newcombe_difference`. corrected: with the factor N / (N - 1) of Miettinen
    and Nurminen; without it the interval is Mee's. The limits are the differences that the score test at this level
    would just not reject, with the variance at the rates most likely for that difference.

    Miettinen O, Nurminen M. Stat Med 1985;4:213-226. Referee: fixtures/reference/differences.json
    """
    check_table(events_1, total_1, events_2, total_2, level)
    table = (events_1, total_1, events_2, total_2)
    rate_1, rate_2 = events_1 / total_1, events_2 / total_2
    value, factor = rate_1 - rate_2, _factor(total_1 + total_2, corrected=corrected)

    def score(difference: float) -> float:
        first, second = _likely_with_difference(*table, difference)
        variance = first * (1 - first) / total_1 + second * (1 - second) / total_2
        return _standardised(value - difference, factor * max(0.0, variance))

    z = normal_quantile(level)
    low, high = _crossing(score, z, -1.0, value), _crossing(score, -z, value, 1.0)
    approach = _score_approach(corrected=corrected)
    return Comparison(Measure.DIFFERENCE, approach, value, low, high, level, too_thin(*table))


def score_ratio(
    events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95, *, corrected: bool = True
) -> Comparison:
    """Ratio of two independent proportions with the score interval.

    Takes, withholds and refuses the same as `score_difference`; without the correction the interval is Koopman's.
    No event in the first group: 0 with lower limit 0. No event in the second: infinity, no upper limit. No event at
    all: not estimable.

    Miettinen O, Nurminen M. Stat Med 1985;4:213-226; Koopman PAR. Biometrics 1984;40:513-517.
    Referee: fixtures/reference/differences.json
    """
    check_table(events_1, total_1, events_2, total_2, level)
    table = (events_1, total_1, events_2, total_2)
    approach = _score_approach(corrected=corrected)
    if events_1 + events_2 == 0:
        return not_estimable(Measure.RATIO, approach, level, "no event in either group")
    rate_1, rate_2, factor = events_1 / total_1, events_2 / total_2, _factor(total_1 + total_2, corrected=corrected)

    def score(log_ratio: float) -> float:
        ratio = math.exp(log_ratio)
        first, second = _likely_with_ratio(*table, ratio)
        variance = first * (1 - first) / total_1 + ratio**2 * second * (1 - second) / total_2
        return _standardised(rate_1 - ratio * rate_2, factor * variance)

    value = math.inf if rate_2 == 0 else rate_1 / rate_2
    low, high = _on_log_scale(score, value, level)
    return Comparison(Measure.RATIO, approach, value, low, high, level, too_thin(*table))


def score_odds_ratio(
    events_1: int, total_1: int, events_2: int, total_2: int, level: float = 0.95, *, corrected: bool = True
) -> Comparison:
    """Odds ratio of two independent groups with the score interval.

    Takes, withholds and refuses the same as `score_difference`. With an empty cell the value is 0 or infinity and one
    limit remains; no event, or only events, in both groups: not estimable.

    Miettinen O, Nurminen M. Stat Med 1985;4:213-226.
    """
    check_table(events_1, total_1, events_2, total_2, level)
    table = (events_1, total_1, events_2, total_2)
    approach, factor = _score_approach(corrected=corrected), _factor(total_1 + total_2, corrected=corrected)
    if events_1 + events_2 in (0, total_1 + total_2):
        word = "no event" if events_1 == 0 else "only events"
        return not_estimable(Measure.ODDS_RATIO, approach, level, f"{word} in either group")

    def score(log_ratio: float) -> float:
        first, second = _likely_with_odds_ratio(*table, math.exp(log_ratio))
        spread_1, spread_2 = total_1 * first * (1 - first), total_2 * second * (1 - second)
        if spread_1 <= 0 or spread_2 <= 0:
            return math.copysign(math.inf, events_1 - total_1 * first)
        return (events_1 - total_1 * first) * math.sqrt((1 / spread_1 + 1 / spread_2) / factor)

    against, favoured = (total_1 - events_1) * events_2, events_1 * (total_2 - events_2)
    value = math.inf if against == 0 else favoured / against
    low, high = _on_log_scale(score, value, level)
    return Comparison(Measure.ODDS_RATIO, approach, value, low, high, level, too_thin(*table))


def _likely_with_difference(
    events_1: int, total_1: int, events_2: int, total_2: int, difference: float
) -> tuple[float, float]:
    """The most likely pair of rates with this difference: the middle root of a cubic, by its cosine."""
    total, events = total_1 + total_2, events_1 + events_2
    b = ((total + total_2) * difference - total - events) / total
    c = ((total_2 * difference - total - 2 * events_2) * difference + events) / total
    d = events_2 * difference * (1 - difference) / total
    v = b**3 / 27 - b * c / 6 + d / 2
    u = math.copysign(math.sqrt(max(0.0, b * b / 9 - c / 3)), v)
    turn = 0.0 if u == 0 else math.acos(max(-1.0, min(1.0, v / u**3)))
    second = 2 * u * math.cos((math.pi + turn) / 3) - b / 3
    second = min(max(second, max(0.0, -difference)), min(1.0, 1 - difference))
    return second + difference, second


def _likely_with_ratio(events_1: int, total_1: int, events_2: int, total_2: int, ratio: float) -> tuple[float, float]:
    """The most likely pair of rates with this ratio: the smaller root of a quadratic, in its steady form."""
    a, c = (total_1 + total_2) * ratio, events_1 + events_2
    b = ratio * (total_1 + events_2) + events_1 + total_2
    second = 2 * c / (b + math.sqrt(max(0.0, b * b - 4 * a * c)))
    second = min(second, 1.0, 1 / ratio)
    return min(1.0, ratio * second), second


def _likely_with_odds_ratio(
    events_1: int, total_1: int, events_2: int, total_2: int, ratio: float
) -> tuple[float, float]:
    """The most likely pair of rates with this odds ratio: the positive root of a quadratic, in its steady form."""
    events = events_1 + events_2
    a, b = total_2 * (ratio - 1), total_1 * ratio + total_2 - events * (ratio - 1)
    root = math.sqrt(max(0.0, b * b + 4 * a * events))
    second = 2 * events / (b + root) if b >= 0 else (root - b) / (2 * a)
    first = ratio * second / (1 + second * (ratio - 1))
    return min(1.0, first), min(1.0, second)


def _standardised(distance: float, variance: float) -> float:
    if distance == 0:
        return 0.0
    return distance / math.sqrt(variance) if variance > 0 else math.copysign(math.inf, distance)


def _crossing(score: Score, target: float, low: float, high: float) -> float:
    """Where a falling score meets the target between low and high, or the end up to which it does not."""
    far, near = (low, high) if target > 0 else (high, low)
    if abs(score(far)) <= abs(target):
        return far
    while min(far, near) < (middle := (far + near) / 2) < max(far, near):
        far, near = (middle, near) if abs(score(middle)) > abs(target) else (far, middle)
        if abs(far - near) < 1e-15:
            break
    return near


def _on_log_scale(score: Score, value: float, level: float) -> tuple[float, float]:
    """Both limits of a ratio; a score that never reaches the target on one side leaves 0 or infinity there."""
    z = normal_quantile(level)
    low, high = 0.0, math.inf
    if value > 0:
        near = math.log(value) if value < math.inf else _first(lambda place: score(place) <= z, 1.0)
        low = math.exp(_crossing(score, z, _first(lambda place: score(place) > z, -1.0, near), near))
    if value < math.inf:
        near = math.log(value) if value > 0 else _first(lambda place: score(place) >= -z, -1.0)
        high = math.exp(_crossing(score, -z, near, _first(lambda place: score(place) < -z, 1.0, near)))
    return low, high


def _first(holds: Callable[[float], bool], step: float, start: float = 0.0) -> float:
    """The first place from start, in steps that double, where something holds that holds far enough out."""
    while not holds(start + step):
        step *= 2
        if abs(step) > 600:
            raise ArithmeticError("the score of a ratio does not reach its limit")
    return start + step


def _score_approach(*, corrected: bool) -> Approach:
    return Approach.MIETTINEN_NURMINEN if corrected else Approach.MEE_KOOPMAN


def _factor(total: int, *, corrected: bool) -> float:
    return total / (total - 1) if corrected else 1.0
