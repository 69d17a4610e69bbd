"""Our value for each reference entry about agreement; the entries differ in which indices they print."""

from collections.abc import Callable
from typing import Any

from audit.stats.agreement import agreement

Entry = dict[str, Any]


def _kappa(data: Entry) -> Entry:
    found = agreement(data["table"])
    return {"kappa": found.kappa, "se": found.kappa_error}


def _kappa_and_observed(data: Entry) -> Entry:
    return {**_kappa(data), "po": agreement(data["table"]).observed}


def _gwet(data: Entry) -> Entry:
    found = agreement(data["table"])
    return {"ac1": found.ac1, "kappa": found.kappa}


def _paradox(data: Entry) -> Entry:
    return {"po": agreement(data["table"]).observed, **_gwet(data)}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "kappa": _kappa,
    "kappa_and_observed": _kappa_and_observed,
    "gwet_ac1": _gwet,
    "paradox": _paradox,
}
