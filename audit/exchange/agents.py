"""Agents too rare to be named. A cell of two that can be counted from the rows is not hidden. Knows no Django."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.exchange.words import Hidden, WiderAgent
from clinic.vocabulary.procedure import Agent


@dataclass(frozen=True)
class Agents:
    """merged: codes of the agents that stand together unnamed; empty where every agent has patients enough.

    left_out_rows: rows whose agent could not be hidden among others.
    """

    merged: tuple[str, ...] = ()
    left_out_rows: int = 0

    def applied(self, rows: pd.DataFrame) -> pd.DataFrame:
        """The rows with the merged agents unnamed."""
        rows = rows.copy()
        hidden = rows["agent"].isin(self.merged).to_numpy()
        rows.loc[hidden, "agent"] = WiderAgent.MERGED.value
        take_dose(rows, hidden)
        return rows


def take_dose(rows: pd.DataFrame, where: np.ndarray) -> None:
    """Withholds, in place, everything that would name an unnamed agent: its strength, its lavage, its time."""
    rows.loc[where, ["strength_basis", "lavage"]] = Hidden.WITHHELD.value
    rows.loc[where, "strength_percent"] = ""
    take_exposure(rows, where)


def take_exposure(rows: pd.DataFrame, where: np.ndarray) -> None:
    """Withholds the time of exposure in place."""
    rows.loc[where, "exposure"] = Hidden.WITHHELD.value
    rows.loc[where, ["applications", "seconds_each", "exposure_seconds"]] = ""


def name_agents(rows: pd.DataFrame, k: int) -> tuple[Agents, np.ndarray]:
    """Which agents stand together unnamed, and which rows must go because even that hides nothing.

    Agents with fewer than k patients are merged; if they are still fewer than k, the next smaller agent joins them, so
    that none can be had by subtraction. The largest agent is never given up: then the rare rows go.
    """
    number = rows[rows["agent"] != Agent.NONE].groupby("agent")["patient_key"].nunique()
    order = sorted(number.index, key=lambda code: (number[code], code))
    merged = [code for code in order if number[code] < k]
    while merged and _patients(rows, merged) < k and len(merged) < len(order):
        merged = order[: len(merged) + 1]
    nobody = np.zeros(len(rows), dtype=np.bool_)
    if merged and len(merged) == len(order):
        rare = rows["agent"].isin([code for code in order if number[code] < k]).to_numpy()
        return Agents((), int(rare.sum())), rare
    return Agents(tuple(sorted(merged))), nobody


def _patients(rows: pd.DataFrame, agents: list[str]) -> int:
    return int(rows.loc[rows["agent"].isin(agents), "patient_key"].nunique())
