"""Our value for each reference entry about exact tests, in the shape in which the reference gives its own."""

from collections.abc import Callable
from typing import Any

from audit.stats.exact import barnard, boschloo, conditional_odds_ratio, fisher

Entry = dict[str, Any]


def _table(data: Entry) -> tuple[int, int, int, int]:
    return data["x1"], data["n1"], data["x2"], data["n2"]


def _fisher(data: Entry) -> Entry:
    found, odds = fisher(*_table(data)), conditional_odds_ratio(*_table(data))
    return {
        "p_two": found.two_sided,
        "p_greater": found.greater,
        "cond_or": odds.value,
        "ci": [odds.low, odds.high],
    }


def _conditional_odds_ratio(data: Entry) -> list[float | None]:
    found = conditional_odds_ratio(*_table(data), data["level"])
    return [found.low, found.high]


def _barnard(data: Entry) -> Entry:
    return {"barnard_p_less": barnard(*_table(data)).less, "fisher_p_less": fisher(*_table(data)).less}


def _boschloo(data: Entry) -> Entry:
    return {"p_less": boschloo(*_table(data)).less}


def _boschloo_both(data: Entry) -> Entry:
    found = boschloo(*_table(data))
    return {"p_less": found.less, "p_two": found.two_sided}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "fisher": _fisher,
    "conditional_odds_ratio": _conditional_odds_ratio,
    "barnard": _barnard,
    "boschloo": _boschloo,
    "boschloo_both": _boschloo_both,
}
