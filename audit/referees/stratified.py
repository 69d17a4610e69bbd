"""Our value for each reference entry about stratified tables, in the shape in which the reference gives its own."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from audit.stats.stratified import Stratified, breslow_day, exact_common_odds, mantel_haenszel

Entry = dict[str, Any]
Lists = tuple[list[int], list[int], list[int], list[int]]


def _groups(data: Entry) -> Lists:
    """Events and totals of the first row and of the second, over tables written column by column."""
    tables = np.array(data["values_column_major"], dtype=np.int64).reshape(data["dim"], order="F")
    first, second = tables[0, 0].tolist(), tables[1, 0].tolist()
    totals = tables.sum(axis=1)
    return first, totals[0].tolist(), second, totals[1].tolist()


def _strata(data: Entry) -> Stratified:
    return mantel_haenszel(*_groups(data))


def _odds(found: Stratified) -> Entry:
    return {"or_mh": found.odds_ratio.value, "ci": [found.odds_ratio.low, found.odds_ratio.high]}


def _corrected(data: Entry) -> Entry:
    found = _strata(data)
    test = {"chi2_corrected": found.test_corrected.statistic, "p_corrected": found.test_corrected.p}
    return {**test, **_odds(found)}


def _plain(data: Entry) -> Entry:
    found = _strata(data)
    return {"chi2": found.test.statistic, **_odds(found)}


def _exact(data: Entry) -> Entry:
    found = _corrected(data)
    del found["ci"]
    return {**found, "exact_p": exact_common_odds(*_groups(data))}


def _mantel_haenszel(data: Entry) -> Entry:
    found = _strata(data)
    return {
        "log_rr": math.log(found.ratio.value or 0),
        "log_rr_se": found.ratio.standard_error,
        "log_or": math.log(found.odds_ratio.value or 0),
        "rd": found.difference.value,
        "rd_se": found.difference.standard_error,
    }


def _breslow_day(data: Entry) -> Entry:
    groups = _groups(data)
    return {"plain": breslow_day(*groups).statistic, "tarone": breslow_day(*groups, tarone=True).statistic}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "cochran_mantel_haenszel": _plain,
    "cochran_mantel_haenszel_corrected": _corrected,
    "cochran_mantel_haenszel_exact": _exact,
    "mantel_haenszel": _mantel_haenszel,
    "breslow_day": _breslow_day,
}
