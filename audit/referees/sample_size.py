"""Our value for each reference entry about sample sizes, in the shape in which the reference gives its own."""

from collections.abc import Callable
from typing import Any

from audit.stats.sample_size import acceptance_table, arcsine_power, mean_cluster_size, two_groups

Entry = dict[str, Any]


def _acceptance_table(data: Entry) -> list[int]:
    return [row.units for row in acceptance_table(data["p"], data["confidence"], data["c"])]


def _two_groups(data: Entry) -> float:
    return two_groups(data["p1"], data["p2"], data["power"], 1 - data["alpha"])


def _arcsine_power(data: Entry) -> float:
    return arcsine_power(data["h"], data["n"], data["alpha"], two_sided=data["sides"] == 2)


def _edges_per_patient(data: Entry) -> Entry:
    return {"edges_per_patient": mean_cluster_size(data["total_edges"], data["patients"])}


def _folds_per_patient(data: Entry) -> Entry:
    return {"folds_per_patient": mean_cluster_size(data["folds"], data["patients"])}


CALLS: dict[str, Callable[[Entry], Any]] = {
    "acceptance_table": _acceptance_table,
    "two_groups": _two_groups,
    "arcsine_power": _arcsine_power,
    "edges_per_patient": _edges_per_patient,
    "folds_per_patient": _folds_per_patient,
}
