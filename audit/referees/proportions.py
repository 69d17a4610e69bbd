"""Our value for each reference entry about one proportion, in the shape in which the reference gives its own."""

from collections.abc import Callable
from typing import Any

from audit.stats.clustered import rao_scott_chi_square
from audit.stats.proportion import Proportion, binomial_test, clopper_pearson, mid_p, wilson, zero_event_upper

Entry = dict[str, Any]


def _limits(interval: Callable[[int, int, float], Proportion]) -> Callable[[Entry], list[float | None]]:
    def call(data: Entry) -> list[float | None]:
        found = interval(data["x"], data["n"], data["level"])
        return [found.low, found.high]

    return call


def _binomial_test(data: Entry) -> Entry:
    p = binomial_test(data["x"], data["n"], data["p0"]).p_two_sided
    return {"p": p, "ci": _limits(clopper_pearson)(data)}


def _zero_event_upper(data: Entry) -> float:
    return zero_event_upper(data["n"])


def _rao_scott(data: Entry) -> Entry:
    groups = []
    for name in dict.fromkeys(data["group"]):
        rows = [row for row, group in enumerate(data["group"]) if group == name]
        groups.append(([data["y"][row] for row in rows], [data["m"][row] for row in rows]))
    found = rao_scott_chi_square(groups)
    return {"p": list(found.rates), "deff": list(found.effects), "chi2": found.statistic}


def _seen_of_operated(data: Entry) -> Entry:
    found, operated = wilson(data["x"], data["n"]), data["operated"]
    return {
        "p": found.rate,
        "wilson": [found.low, found.high],
        "worst_case_if_all_unseen_recur": wilson(data["x"] + operated - data["n"], operated).rate,
        "best_case": wilson(data["x"], operated).rate,
    }


CALLS: dict[str, Callable[[Entry], Any]] = {
    "wilson": _limits(wilson),
    "clopper_pearson": _limits(clopper_pearson),
    "mid_p": _limits(mid_p),
    "binomial_test": _binomial_test,
    "zero_event_upper": _zero_event_upper,
    "rao_scott": _rao_scott,
    "seen_of_operated": _seen_of_operated,
}
