"""What became of a patient that neighbours know as well: a death, a lost toe, a move. Knows no Django."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.exchange.words import WiderReason
from audit.measures.definitions import Outcome, Status
from clinic.vocabulary.review import LossReason

SEEN = (Status.CENSORED_DEATH.value, Status.CENSORED_AMPUTATION.value)


@dataclass(frozen=True)
class Reasons:
    """merged: reasons of loss that stand together unnamed; empty where each is named."""

    merged: tuple[str, ...] = ()

    def applied(self, rows: pd.DataFrame) -> pd.DataFrame:
        """The rows with the merged reasons unnamed."""
        return rows.assign(loss_reason=rows["loss_reason"].mask(rows["loss_reason"].isin(self.merged), _MERGED))


_MERGED = WiderReason.MERGED.value


def name_reasons(rows: pd.DataFrame, classes: np.ndarray, k: int) -> tuple[Reasons, np.ndarray]:
    """Which reasons of loss stand together unnamed, and which rows must go because somebody could be found by them.

    rows: widened. classes: a number per row, the same for rows that an outsider finds alike. A death or a lost toe must
    be that of k patients alike or its rows go. Where fewer than k alike have moved, "moved" is merged with the next
    rarer reasons, one at least, until k patients stand under it; where no other reason is there, its rows go.
    """
    go = np.zeros(len(rows), dtype=np.bool_)
    for status in SEEN:
        has = (rows[[outcome.value for outcome in Outcome]] == status).any(axis=1).to_numpy()
        go |= _few(rows, classes, has, k)
    moved = (rows["loss_reason"] == LossReason.MOVED).to_numpy() & ~go
    found_by_it = _few(rows, classes, moved, k)
    if not found_by_it.any():
        return Reasons(), go
    number = rows[(rows["loss_reason"] != "") & ~go].groupby("loss_reason")["patient_key"].nunique()
    others = sorted(set(number.index) - {LossReason.MOVED.value}, key=lambda code: (number[code], code))
    for last in range(1, len(others) + 1):
        merged = (LossReason.MOVED.value, *others[:last])
        if rows.loc[rows["loss_reason"].isin(merged) & ~go, "patient_key"].nunique() >= k:
            return Reasons(tuple(sorted(merged))), go
    return Reasons(), go | found_by_it


def _few(rows: pd.DataFrame, classes: np.ndarray, has: np.ndarray, k: int) -> np.ndarray:
    """True per row that has it, where fewer than k patients alike do."""
    patients = rows["patient_key"].where(has)
    return has & (patients.groupby(classes).transform("nunique") < k).to_numpy()
