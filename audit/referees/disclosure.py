"""Our value for each reference entry about rows and tables that leave the practice."""

from collections.abc import Callable
from typing import Any

import numpy as np

from audit.stats.disclosure import anonymity
from audit.stats.suppression import audit_suppressed, two_way

Entry = dict[str, Any]


def _anonymity(data: Entry) -> Entry:
    columns = {
        name: np.unique([row[place] for row in data["rows"]], return_inverse=True)[1]
        for place, name in enumerate([*data["quasi_identifiers"], data["sensitive"]])
    }
    sensitive = {data["sensitive"]: columns.pop(data["sensitive"])}
    found = anonymity(columns, sensitive)
    return {"k": found.k, "distinct_l": found.distinct[data["sensitive"]]}


def _cell_ranges(data: Entry) -> list[list[float]]:
    table = two_way(data["counts"])
    mask = np.zeros(table.values.shape, dtype=np.bool_)
    mask[tuple(np.transpose(data["hidden"]))] = True
    found = audit_suppressed(table, mask)
    return [[float(found.low[row, column]), float(found.high[row, column])] for row, column in data["hidden"]]


CALLS: dict[str, Callable[[Entry], Any]] = {
    "anonymity": _anonymity,
    "cell_ranges": _cell_ranges,
}
