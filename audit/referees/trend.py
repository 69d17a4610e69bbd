"""Our value for each reference entry about trends, in the shape in which the reference gives its own."""

from collections.abc import Callable
from typing import Any

from audit.stats.trend import cochran_armitage, exact_trend, exposure_scores

Entry = dict[str, Any]


def _cochran_armitage(data: Entry) -> Entry:
    found = cochran_armitage(data["x"], data["n"], data["score"])
    return {"chi2": found.chi_square, "p": found.p}


def _mantel_trend(data: Entry) -> Entry:
    found = cochran_armitage(data["x"], data["n"], data["score"])
    return {"M2": found.mantel, "p": found.p}


def _exact_trend(data: Entry) -> Entry:
    return {"p": exact_trend(data["x"], data["n"], exposure_scores(data["seconds"])).p}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "cochran_armitage": _cochran_armitage,
    "mantel_trend": _mantel_trend,
    "exact_trend": _exact_trend,
}
