"""Regrowths in time: units between them, and the two run chart rules. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log, log1p, log2
from statistics import median

from audit.stats.funnel_limits import ALARM, WARNING, check_inside

# Limits are drawn from so many events on, and the run rules asked from so many values on (our own choice).
FEWEST_EVENTS = 10
FEWEST_VALUES = 10


@dataclass(frozen=True)
class GapLimits:
    """Limits of the number of units between two events, at one rate.

    centre: the median. warning_high, alarm_high: gaps longer than these are rarer than 2.5 % and 0.1 %: a better
    time, or events that were not recorded. warning_low, alarm_low: gaps of this length or shorter are rarer than that;
    None where even two events in a row are not rare enough, which is so unless the rate is very low.
    """

    rate: float
    centre: int
    alarm_low: int | None
    warning_low: int | None
    warning_high: int
    alarm_high: int


@dataclass(frozen=True)
class GChart:
    """gaps: units without the event before each event, in order; the first counts from the first unit.

    open_gap: units without it since the last event; it can only grow. events, units: what the chart stands on.
    limits: None where `withheld` says why. outside: places of the gaps beyond the alarm limits; the open gap's place
    is the number of gaps. run: the run chart rules over the gaps.
    """

    gaps: tuple[int, ...]
    open_gap: int
    events: int
    units: int
    limits: GapLimits | None
    outside: tuple[int, ...]
    run: "RunChart"
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class RunChart:
    """Two signs that values in time do not scatter about their centre as chance would have it.

    useful: values not on the centre line; the others count neither as above nor as below.
    longest_run, crossings: found; longest_allowed, fewest_crossings: what chance gives but for about 1 chart in 20.
    run_places: places of the values of the longest run, first and last.
    signals: in words, empty without one. withheld: why the rules were not asked.
    """

    centre: float | None
    useful: int
    longest_run: int
    crossings: int
    longest_allowed: int | None
    fewest_crossings: int | None
    run_places: tuple[int, int] | None
    signals: tuple[str, ...]
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def gap_limits(rate: float) -> GapLimits:
    """Probability limits of the number of units between events that come independently at a rate.

    rate: between 0 and 1. Geometric: P(gap <= x) = 1 - (1 - rate)^(x + 1). An upper limit is the smallest x that
    P(gap <= x) reaches its probability at, a lower one the largest x at which it is still below.

    Kaminsky FC et al. J Qual Technol 1992;24:63-69; Benneyan JC. Health Care Manag Sci 2001;4:305-318.
    Referee: fixtures/reference/monitoring.json (geometric quantiles of scipy)
    """
    check_inside("rate", rate)
    return GapLimits(
        rate, _quantile(rate, 0.5),
        _below(rate, (1 - ALARM) / 2), _below(rate, (1 - WARNING) / 2),
        _quantile(rate, (1 + WARNING) / 2), _quantile(rate, (1 + ALARM) / 2),
    )  # fmt: skip


def g_chart(outcomes: Sequence[bool], rate: float | None = None) -> GChart:
    """Units between events, in the order of operation.

    outcomes: one per unit, all mature, so that early events do not come in before their time; at least one. A unit
    should be one patient's operation day: two sides of one patient regrow together more often than geometric limits
    allow for. rate: of a standard or an earlier period, between 0 and 1; None estimates it from these gaps without
    bias as (events - 1) / (events + units without it - 1), the open gap left out.
    Limits from 10 events on; a given rate is not tied to that.

    Benneyan JC. Health Care Manag Sci 2001;4:305-318; Haldane JBS. Biometrika 1945;33:222-225 (the rate).
    """
    if not len(outcomes):
        raise ValueError("outcomes must hold at least 1 unit, not 0")
    gaps, current = [], 0
    for event in outcomes:
        if event:
            gaps.append(current)
        current = 0 if event else current + 1
    run = run_chart(gaps)
    if rate is None:
        if len(gaps) < FEWEST_EVENTS:
            reason = f"{_counted(len(gaps), 'event')} so far, limits are drawn from {FEWEST_EVENTS} on"
            return GChart(tuple(gaps), current, len(gaps), len(outcomes), None, (), run, reason)
        if not any(gaps):
            return GChart(tuple(gaps), current, len(gaps), len(outcomes), None, (), run, "no unit without the event")
        rate = (len(gaps) - 1) / (len(gaps) + sum(gaps) - 1)
    limits = gap_limits(rate)
    outside = [place for place, gap in enumerate(gaps) if _outside(gap, limits)]
    if current > limits.alarm_high:
        outside.append(len(gaps))
    return GChart(tuple(gaps), current, len(gaps), len(outcomes), limits, tuple(outside), run)


def run_chart(values: Sequence[float], centre: float | None = None) -> RunChart:
    """Whether values in time run unusually long on one side of their centre, or cross it unusually seldom.

    values: finite, in order. centre: None takes their median.
    A run longer than round(log2 n + 3), or crossings below the 5 % quantile of Binomial(n - 1, 1/2), n the values off
    the centre line. No rule about trends: it finds little but chance. Not asked with fewer than 10 values off the line.
    Refuses with ValueError values that are not finite.

    Anhoj J, Olesen AV. Run charts revisited: a simulation study of run chart rules for detection of non-random
    variation in health care processes. PLoS ONE 2014;9(11):e113825. Referee: fixtures/reference/monitoring.json
    """
    for value in (*values, *(() if centre is None else (centre,))):
        if not -float("inf") < value < float("inf"):
            raise ValueError(f"values must be finite, not {value}")
    if not len(values):
        return RunChart(None, 0, 0, 0, None, None, None, (), "no value")
    middle = float(median(values)) if centre is None else float(centre)
    sides = [(place, value > middle) for place, value in enumerate(values) if value != middle]
    runs = _runs(sides)
    longest = max(runs, key=len, default=[])
    crossings = max(0, len(runs) - 1)
    place = (longest[0], longest[-1]) if longest else None
    if len(sides) < FEWEST_VALUES:
        reason = f"{_counted(len(sides), 'value')} off the centre line, the rules need {FEWEST_VALUES}"
        return RunChart(middle, len(sides), len(longest), crossings, None, None, place, (), reason)
    allowed, fewest = run_chart_limits(len(sides))
    signals = []
    if len(longest) > allowed:
        side = "above" if values[longest[0]] > middle else "below"
        signals.append(f"{len(longest)} values in a row {side} the centre line, chance gives up to {allowed}")
    if crossings < fewest:
        signals.append(f"the centre line is crossed {crossings} times, chance gives at least {fewest}")
    return RunChart(middle, len(sides), len(longest), crossings, allowed, fewest, place, tuple(signals))


def run_chart_limits(useful: int) -> tuple[int, int]:
    """The longest run and the fewest crossings that chance gives, for so many values off the centre line.

    useful: whole number, at least 1. Source as for `run_chart`.
    """
    from scipy.stats import binom

    if isinstance(useful, bool) or useful != int(useful) or useful < 1:
        raise ValueError(f"useful must be a whole number, at least 1, not {useful}")
    return round(log2(useful) + 3), int(binom.ppf(0.05, useful - 1, 0.5)) if useful > 1 else 0


def _runs(sides: Sequence[tuple[int, bool]]) -> list[list[int]]:
    """Places of neighbours on one side of the centre line."""
    runs: list[list[int]] = []
    before: bool | None = None
    for place, above in sides:
        if above != before:
            runs.append([])
        runs[-1].append(place)
        before = above
    return runs


def _quantile(rate: float, probability: float) -> int:
    return max(0, ceil(log1p(-probability) / log1p(-rate) - 1e-12) - 1)


def _below(rate: float, probability: float) -> int | None:
    """The largest gap whose probability of being so short or shorter is below; None where there is none."""
    found = floor(log(1 - probability) / log1p(-rate) + 1e-12) - 1
    return found if found >= 0 else None


def _outside(gap: int, limits: GapLimits) -> bool:
    return gap > limits.alarm_high or (limits.alarm_low is not None and gap <= limits.alarm_low)


def _counted(number: int, word: str) -> str:
    return f"1 {word}" if number == 1 else f"{number} {word}s"
