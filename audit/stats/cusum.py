"""Watching a rate between audits: CUSUM and VLAD on one patient's operation day as the unit. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, log

from audit.stats.funnel_limits import check_inside, check_positive

# A sum nearer to 0 or to the limit than this is on it: weights are sums of logarithms.
TOUCHING = 1e-12
# The day up to which the outcome of an operation can still change: the end of the window at 12 months.
MATURES = 425
# Doubled odds are looked for, with a limit that is rarely reached by chance (our own choice).
DOUBLED, DEFAULT_LIMIT = 2.0, 4.0


@dataclass(frozen=True)
class PatientDay:
    """All sides of one patient operated on one day: one unit, because they do not regrow independently.

    operated: the day as a whole number. expected: chance that any side regrows, between 0 and 1.
    regrown: whether any did; None where the status is unknown.
    """

    operated: int
    expected: float
    regrown: bool | None


@dataclass(frozen=True)
class Cusum:
    """values: the sum after each unit, never below 0, at or above the limit where it signals; it restarts from 0.

    signals: places of the units, from 0, at which it signalled. odds_ratio: what the chart looks for, above 1 for
    worse, below 1 for better.
    """

    values: tuple[float, ...]
    signals: tuple[int, ...]
    odds_ratio: float
    limit: float


@dataclass(frozen=True)
class Monitoring:
    """The chart of the known outcomes, and beside it the one in which unknown counts as clear.

    days: operation days of the units of `known`, in order; `vlad` has one value for each too.
    unknown: mature units without a known status, left out of `known`. immature: units too young to enter either.
    withheld: why there is no chart.
    """

    known: Cusum
    unknown_as_clear: Cusum
    days: tuple[int, ...]
    vlad: tuple[float, ...]
    unknown: int
    immature: int
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def weights(expected: float, odds_ratio: float = DOUBLED) -> tuple[float, float]:
    """What an event and a non-event add to the sum, given the unit's expected risk.

    expected: between 0 and 1. odds_ratio: above 0, not 1.
    Log-likelihood ratio of the odds multiplied by OR against not: y log(OR) - log(1 - p + OR p).

    Steiner SH et al. Biostatistics 2000;1:441-452. Referee: fixtures/reference/monitoring.json
    """
    check_inside("expected", expected)
    check_odds_ratio(odds_ratio)
    clear = -log(1 - expected + odds_ratio * expected)
    return log(odds_ratio) + clear, clear


def any_side_risk(sides: int, rate: float, correlation: float = 0.0) -> float:
    """The chance that any of a patient's sides regrows, with sides that resemble each other.

    sides: whole number, at least 1. rate: of one side, between 0 and 1. correlation: within patients, 0 up to below 1.
    1 - prod (b + j) / (a + b + j) over j = 0 .. sides - 1, the beta-binomial with a = rate (1 - rho) / rho and
    b = (1 - rate) (1 - rho) / rho; 1 - (1 - rate)^sides where rho = 0.

    Skellam JG. J R Stat Soc B 1948;10:257-261 (beta-binomial).
    """
    if isinstance(sides, bool) or sides != int(sides) or sides < 1:
        raise ValueError(f"sides must be a whole number, at least 1, not {sides}")
    check_inside("rate", rate)
    if not 0 <= correlation < 1:
        raise ValueError(f"correlation must be from 0 to below 1, not {correlation}")
    none = 1.0
    for earlier in range(sides):
        # (b + j) / (a + b + j), both multiplied by rho: no division by a correlation of 0.
        none *= ((1 - rate) * (1 - correlation) + earlier * correlation) / (1 - correlation + earlier * correlation)
    return 1 - none


def cusum(
    outcomes: Sequence[bool], expected: Sequence[float], limit: float = DEFAULT_LIMIT, odds_ratio: float = DOUBLED
) -> Cusum:
    """The CUSUM of units in order: S = max(0, S + W); a signal at S >= limit, then again from 0.

    outcomes, expected: one per unit. limit: above 0. odds_ratio: above 0, not 1.
    Refuses with ValueError what is outside and lengths that differ.

    Steiner SH et al. Biostatistics 2000;1:441-452. Referee: fixtures/reference/monitoring.json
    """
    if len(outcomes) != len(expected):
        raise ValueError(f"expected must hold one risk for each of {len(outcomes)} outcomes, not {len(expected)}")
    check_positive("limit", limit)
    check_odds_ratio(odds_ratio)
    values, signals, total = [], [], 0.0
    for place, (event, risk) in enumerate(zip(outcomes, expected, strict=True)):
        total += weights(risk, odds_ratio)[0 if event else 1]
        total = 0.0 if total <= TOUCHING else total
        values.append(total)
        if total >= limit - TOUCHING:
            signals.append(place)
            total = 0.0
    return Cusum(tuple(values), tuple(signals), odds_ratio, limit)


def vlad(outcomes: Sequence[bool], expected: Sequence[float]) -> tuple[float, ...]:
    """Expected minus observed events, summed over the units so far; to look at, it has no limits.

    Takes one outcome and one risk between 0 and 1 per unit. Lovegrove J et al. Lancet 1997;350:1128-1130.
    """
    if len(outcomes) != len(expected):
        raise ValueError(f"expected must hold one risk for each of {len(outcomes)} outcomes, not {len(expected)}")
    total, values = 0.0, []
    for event, risk in zip(outcomes, expected, strict=True):
        check_inside("expected", risk)
        total += risk - bool(event)
        values.append(total)
    return tuple(values)


def monitoring(
    days: Sequence[PatientDay],
    cutoff: int,
    limit: float = DEFAULT_LIMIT,
    odds_ratio: float = DOUBLED,
    matures: int = MATURES,
) -> Monitoring:
    """The charts of all units whose outcome is settled at the cut-off, in the order of operation.

    days: units in any order; those of one day keep theirs. cutoff: the day of the data cut-off, on the same count.
    matures: a unit enters only this many days after the operation, regrown or not: regrowth is known early and a
    clear nail late, so that younger units would bring in failures first.
    Refuses with ValueError an operation after the cut-off and what `cusum` refuses. Without a mature unit of known
    status the result says so.
    """
    late = [day.operated for day in days if day.operated > cutoff]
    if late:
        raise ValueError(f"operated must be at or before the cut-off {cutoff}, not {late[0]}")
    ordered = sorted(days, key=lambda day: day.operated)
    mature = [day for day in ordered if day.operated + matures <= cutoff]
    settled = [(day, day.regrown) for day in mature if day.regrown is not None]
    outcomes, expected = [regrown for _, regrown in settled], [day.expected for day, _ in settled]
    beside = cusum([bool(day.regrown) for day in mature], [day.expected for day in mature], limit, odds_ratio)
    return Monitoring(
        cusum(outcomes, expected, limit, odds_ratio), beside, tuple(day.operated for day, _ in settled),
        vlad(outcomes, expected), len(mature) - len(settled), len(days) - len(mature),
        "" if settled else "no operation day is mature with a known status yet",
    )  # fmt: skip


def check_odds_ratio(odds_ratio: float) -> None:
    """Refuses with ValueError what is not finite and above 0, and 1: a chart must look for some change."""
    if not (isfinite(odds_ratio) and odds_ratio > 0 and odds_ratio != 1):
        raise ValueError(f"odds_ratio must be finite, above 0 and not 1, not {odds_ratio}")
