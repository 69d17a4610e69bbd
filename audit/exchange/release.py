"""The last step before rows leave: random codes, random order, none of the practice's own keys. Knows no Django."""

import hashlib
import json
from collections.abc import Sequence
from random import Random

import pandas as pd

from audit.exchange.columns import NAMES
from audit.exchange.protect import Protected
from audit.exchange.series import BETWEEN, Contents

LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
LENGTH = 10


def release(protected: Protected, chance: Random) -> pd.DataFrame:
    """The rows of a file: every column of the format, codes drawn by `chance`, in an order drawn by it.

    chance: `random.SystemRandom()` wherever rows really leave. Codes are drawn for this file alone.
    """
    rows = protected.rows.copy()
    rows["row_code"] = _codes(len(rows), chance)
    rows["patient_code"] = _one_each(rows["cluster_key"], chance)
    rows["toe_code"] = _one_each(rows["toe_key"], chance)
    order = list(range(len(rows)))
    chance.shuffle(order)
    return rows.iloc[order][list(NAMES)].reset_index(drop=True)


def contents(raw: pd.DataFrame, protected: Protected) -> Contents:
    """What a release gives away about each patient, as digests: the rows that stay, before they were widened.

    Widened rows would hide that somebody was added: the others' rows change with every patient. Which side a row is of
    stands apart from what it says, because what can be said of every side changes with the format. What is told of it
    after widening stands apart too: the same record must not be told in two ways.
    """
    found: dict[str, set[str]] = {}
    # The same side in a file of another period is the same row.
    names = [name for name in raw.columns if name not in {"side_key", "toe_key", "patient_key", "audit_year"}]
    kept = raw[protected.kept]
    rows = protected.rows
    together = rows.groupby("cluster_key")["side_key"].transform(lambda own: " ".join(sorted(own)))
    told = rows[names].assign(together=together).to_numpy().tolist()
    for patient, side, recorded, shown in zip(
        kept["patient_key"], kept["side_key"], kept[names].to_numpy().tolist(), told, strict=True
    ):
        digests = (_digest([side]), _digest([side, *recorded]), _digest([side, *shown]))
        found.setdefault(str(patient), set()).add(BETWEEN.join(digests))
    return {patient: frozenset(rows) for patient, rows in sorted(found.items())}


def _digest(values: Sequence[object]) -> str:
    return hashlib.sha256(json.dumps([str(value) for value in values]).encode()).hexdigest()


def _codes(number: int, chance: Random) -> list[str]:
    """Different codes, none of which stands in the order of anything."""
    found: dict[str, None] = {}
    while len(found) < number:
        found.setdefault("".join(chance.choice(LETTERS) for _ in range(LENGTH)))
    return list(found)


def _one_each(keys: pd.Series, chance: Random) -> list[str]:
    own = list(dict.fromkeys(keys))
    code = dict(zip(own, _codes(len(own), chance), strict=True))
    return [code[key] for key in keys]
