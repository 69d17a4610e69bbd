"""Our value for each reference entry about curves, in the shape in which the reference gives its own."""

from collections.abc import Callable
from typing import Any

import numpy as np

from audit.stats.curve_tests import Scores, side_test
from audit.stats.kaplan_meier import kaplan_meier, log_rank
from audit.stats.turnbull import Curve, npmle

Entry = dict[str, Any]


def _curve(data: Entry) -> Curve:
    return npmle(_days(data["left"]), _days(data["right"]))


def _days(values: list[float | str]) -> list[float]:
    return [float(value) for value in values]


def _days_or_inf(values: Any) -> list[float | str]:
    return [value if np.isfinite(value) else "inf" for value in values.tolist()]


def _masses(data: Entry) -> Entry:
    curve = _curve(data)
    support = zip(_days_or_inf(curve.start), _days_or_inf(curve.end), strict=True)
    return {"support": [list(ends) for ends in support], "p": curve.mass.tolist()}


def _log_likelihood(data: Entry) -> float:
    return _curve(data).log_likelihood


def _scores(kind: Scores) -> Callable[[Entry], Entry]:
    def call(data: Entry) -> Entry:
        found = side_test(data["group"], _days(data["left"]), _days(data["right"]), kind)
        return {"abs_Z": abs(found.z), "p": found.p}

    return call


def _product_limit(data: Entry) -> Entry:
    steps = kaplan_meier(data["time"], data["event"]).steps
    return {
        "times": [step.day for step in steps],
        "S": [step.survival for step in steps],
        "se": [step.standard_error for step in steps],
    }


def _product_limit_limits(data: Entry) -> Entry:
    steps = kaplan_meier(data["time"], data["event"]).steps
    return {"low": [step.low for step in steps], "high": [step.high for step in steps]}


def _log_rank(data: Entry) -> Entry:
    found = log_rank(data["time"], data["event"], data["group"])
    return {"chi2": found.statistic, "p": found.p}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "npmle": _masses,
    "npmle_log_likelihood": _log_likelihood,
    "interval_log_rank_sun": _scores(Scores.SUN),
    "interval_log_rank_finkelstein": _scores(Scores.FINKELSTEIN),
    "kaplan_meier": _product_limit,
    "kaplan_meier_limits": _product_limit_limits,
    "log_rank": _log_rank,
}
