"""How long a CUSUM runs before it signals, in control and not, and the limit to choose. Knows numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor
from typing import Any

import numpy as np
from scipy.sparse import coo_array, eye_array

from audit.stats.cusum import DOUBLED, TOUCHING, check_odds_ratio, weights
from audit.stats.funnel_limits import check_inside, check_positive

# A state reached with less probability than this from 0 is left out.
NEVER = 1e-13
# Points between 0 and the limit where the risks vary.
GRID = 2_000
# Limits are chosen in these steps up to the highest.
STEP, HIGHEST = 0.1, 20.0


@dataclass(frozen=True)
class ChosenLimit:
    """A limit with what it means: print it with the chart.

    in_control, shifted: mean number of units to a signal while the odds are as expected, and once they have changed
    by the odds ratio. false_alarm: chance of a signal within `units` units in control.
    exact: whether all units had one risk; with several the run lengths are within 0.3 %, or about 1 % where the risks
    are all but one.
    """

    limit: float
    odds_ratio: float
    in_control: float
    shifted: float
    false_alarm: float
    units: int
    exact: bool


def average_run_length(
    expected: Sequence[float], limit: float, odds_ratio: float = DOUBLED, true_odds_ratio: float = 1.0
) -> float:
    """Mean number of units until a CUSUM that starts at 0 signals.

    expected: risks of the units to come, each as frequent as here; between 0 and 1, at least one. limit: above 0.
    odds_ratio: what the chart looks for. true_odds_ratio: how the odds really stand to the expected ones, above 0.
    With one risk, exact: the sum is a events and b non-events since it was last 0, and (I - Q) r = 1 is solved over
    all such states that are reached with a probability of 1e-13 or more. With several risks, a grid of 2,000 steps
    between 0 and the limit with linear interpolation between its points.

    Brook D, Evans DA. Biometrika 1972;59:539-549. Referee: fixtures/reference/monitoring.json
    """
    from scipy.sparse.linalg import spsolve

    steps = _transitions(expected, limit, odds_ratio, true_odds_ratio)
    lengths = spsolve((eye_array(steps.shape[0]) - steps).tocsc(), np.ones(steps.shape[0]))
    return float(lengths[0])


def false_alarm_chance(
    expected: Sequence[float], limit: float, units: int, odds_ratio: float = DOUBLED, true_odds_ratio: float = 1.0
) -> float:
    """The chance of a signal within the next `units` units from 0 on; a false alarm while the odds are as expected.

    Takes what `average_run_length` does; units: whole number, at least 1.
    """
    if isinstance(units, bool) or units != int(units) or units < 1:
        raise ValueError(f"units must be a whole number, at least 1, not {units}")
    onward = _transitions(expected, limit, odds_ratio, true_odds_ratio).T.tocsr()
    state = np.zeros(onward.shape[0])
    state[0] = 1.0
    for _ in range(int(units)):
        state = onward @ state
    return float(1 - state.sum())


def choose_limit(expected: Sequence[float], units: int, chance: float, odds_ratio: float = DOUBLED) -> ChosenLimit:
    """The lowest limit, in steps of 0.1, whose chance of a false alarm within `units` units is at most `chance`.

    expected, odds_ratio: as for `average_run_length`. units: whole number, at least 1. chance: between 0 and 1.
    Refuses with ValueError where even the highest limit, 20, gives a higher chance.
    """
    check_inside("chance", chance)
    low, high = 0, round(HIGHEST / STEP)
    if false_alarm_chance(expected, HIGHEST, units, odds_ratio) > chance:
        raise ValueError(f"chance must be one that a limit up to {HIGHEST:g} can keep, not {chance}")
    while high - low > 1:
        middle = (low + high) // 2
        kept = false_alarm_chance(expected, middle * STEP, units, odds_ratio) <= chance
        low, high = (low, middle) if kept else (middle, high)
    return describe_limit(expected, round(high * STEP, 1), units, odds_ratio)


def describe_limit(expected: Sequence[float], limit: float, units: int, odds_ratio: float = DOUBLED) -> ChosenLimit:
    """What a limit means for units with these risks. Takes what `average_run_length` does."""
    return ChosenLimit(
        limit, odds_ratio,
        average_run_length(expected, limit, odds_ratio),
        average_run_length(expected, limit, odds_ratio, odds_ratio),
        false_alarm_chance(expected, limit, units, odds_ratio),
        int(units), len(set(expected)) == 1,
    )  # fmt: skip


def _transitions(expected: Sequence[float], limit: float, odds_ratio: float, true_odds_ratio: float) -> Any:
    """Sparse matrix of the probabilities to go from state to state without a signal; the first state is a sum of 0."""
    if not len(expected):
        raise ValueError("expected must hold at least 1 risk, not 0")
    check_positive("limit", limit)
    check_odds_ratio(odds_ratio)
    check_positive("true_odds_ratio", true_odds_ratio)
    risks, often = np.unique(np.asarray(expected, dtype=np.float64), return_counts=True)
    steps = [
        (*weights(float(risk), odds_ratio), float(true_odds_ratio * risk / (1 - risk + true_odds_ratio * risk)))
        for risk in risks
    ]
    if len(steps) == 1:
        return _enumerated(*steps[0], limit)
    return _on_grid(steps, often / often.sum(), limit)


def _enumerated(event: float, clear: float, risk: float, limit: float) -> Any:
    """All sums a * event + b * clear reached from 0, level by level of a + b."""
    places = {(0, 0): 0}
    level = {(0, 0): 1.0}
    rows: list[int] = []
    columns: list[int] = []
    chances: list[float] = []
    while level:
        following: dict[tuple[int, int], float] = {}
        for (events, clears), reached in level.items():
            for state, chance in (((events + 1, clears), risk), ((events, clears + 1), 1 - risk)):
                total = state[0] * event + state[1] * clear
                if total >= limit - TOUCHING:
                    continue
                if total <= TOUCHING:
                    state = (0, 0)
                elif state not in following and reached * chance < NEVER:
                    continue
                else:
                    following[state] = following.get(state, 0.0) + reached * chance
                rows.append(places[events, clears])
                columns.append(places.setdefault(state, len(places)))
                chances.append(chance)
        level = following
    return coo_array((chances, (rows, columns)), shape=(len(places), len(places))).tocsr()


def _on_grid(steps: Sequence[tuple[float, float, float]], shares: Any, limit: float) -> Any:
    """A grid from 0 to just below the limit; a sum between two points is shared between them in proportion."""
    # How far each kind of unit moves along the grid, and with what probability.
    near: dict[int, list[float]] = {}
    for (event, clear, risk), share in zip(steps, shares, strict=True):
        for weight, chance in ((event, risk), (clear, 1 - risk)):
            distance = weight * GRID / limit
            whole = floor(distance + TOUCHING)
            part = max(0.0, distance - whole)
            kept = near.setdefault(whole, [0.0, 0.0])
            kept[0] += float(share) * chance * (1 - part)
            kept[1] += float(share) * chance * part
    start = np.arange(GRID + 1)
    rows, columns, chances = [], [], []
    for whole, (lower, upper) in near.items():
        silent = start[start + whole < GRID]
        for target, chance in ((silent + whole, lower), (silent + whole + 1, upper)):
            # Between the point below 0 and 0 the sum is 0.
            rows.append(silent)
            columns.append(np.maximum(0, target))
            chances.append(np.full(len(silent), chance))
    size = (GRID + 1, GRID + 1)
    return coo_array((np.concatenate(chances), (np.concatenate(rows), np.concatenate(columns))), shape=size).tocsr()
