"""Our value for each reference entry about two proportions, in the shape in which the reference gives its own."""

import math
from collections.abc import Callable
from typing import Any

from audit.stats.differences import Comparison, katz_ratio, newcombe_difference, standard_error_from_limits
from audit.stats.exact import fisher
from audit.stats.proportion import wilson
from audit.stats.score_intervals import score_difference, score_odds_ratio, score_ratio

Entry = dict[str, Any]
Table = tuple[int, int, int, int]


def _table(data: Entry) -> Table:
    return data["x1"], data["n1"], data["x2"], data["n2"]


def _limits_of(found: Comparison) -> list[float | None]:
    return [found.low, found.high]


def _limits(compare: Callable[..., Comparison], **options: bool) -> Callable[[Entry], list[float | None]]:
    def call(data: Entry) -> list[float | None]:
        return _limits_of(compare(*_table(data), data["level"], **options))

    return call


def _koopman_ratio(data: Entry) -> Entry:
    found = score_ratio(*_table(data), data["level"], corrected=False)
    return {"rr": found.value, "ci": _limits_of(found)}


def _katz_ratio(data: Entry) -> Entry:
    found = katz_ratio(*_table(data), data["level"])
    return {"rr": found.value, "ci": _limits_of(found), "diff": newcombe_difference(*_table(data)).value}


def _trial_table(data: Entry) -> Entry:
    table = _table(data)
    hybrid = newcombe_difference(*table)
    return {
        "p1": wilson(*table[:2]).rate,
        "p2": wilson(*table[2:]).rate,
        "difference": hybrid.value,
        "newcombe": _limits_of(hybrid),
        "mn_rd": _limits_of(score_difference(*table)),
        "fisher_p_two": fisher(*table).two_sided,
    }


def _trial_of_failures(data: Entry) -> Entry:
    events_1, total_1, events_2, total_2 = table = _table(data)
    successes = (wilson(total_1 - events_1, total_1), wilson(total_2 - events_2, total_2))
    return {
        "success": [100 * (found.rate or 0) for found in successes],
        "newcombe": _limits_of(newcombe_difference(*table)),
        "fisher_p_two": fisher(*table).two_sided,
    }


def _printed_ratio(data: Entry) -> Entry:
    error = standard_error_from_limits(data["low"], data["high"], data["level"])
    return {"rr": math.sqrt(data["low"] * data["high"]), "log_rr_se_from_ci": error}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "newcombe_difference": _limits(newcombe_difference),
    "mee_difference": _limits(score_difference, corrected=False),
    "miettinen_nurminen_difference": _limits(score_difference),
    "miettinen_nurminen_ratio": _limits(score_ratio),
    "miettinen_nurminen_odds_ratio": _limits(score_odds_ratio),
    "koopman_ratio": _koopman_ratio,
    "katz_ratio": _katz_ratio,
    "trial_table": _trial_table,
    "trial_of_failures": _trial_of_failures,
    "printed_ratio": _printed_ratio,
}
