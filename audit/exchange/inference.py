"""What a colleague who knows agent and time of exposure could infer. Knows no Django."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.exchange.agents import take_dose, take_exposure
from audit.exchange.words import Exposure, Hidden
from audit.measures.definitions import Outcome, Status
from clinic.vocabulary.procedure import Agent

CLASS = ["age_band", "technique", "matrix_destroyed"]
_BAD = Status.EVENT.value


@dataclass(frozen=True)
class Withheld:
    """Rows whose agent, or whose time of exposure, was withheld."""

    agent_rows: int = 0
    exposure_rows: int = 0


def withhold(rows: pd.DataFrame) -> tuple[pd.DataFrame, Withheld]:
    """Takes agent or exposure away from every group of rows alike in which knowing it would tell an outcome.

    Rows are grouped with the other sides of their toe: a toe whose one side keeps the agent would tell that of the
    other. Where all rows of one agent (or of one time of exposure) have the event, the whole group loses the column:
    taking it from those rows alone would mark them, and would take it only from rows with the event.
    """
    rows = rows.copy()
    chemical = (rows["agent"] != Agent.NONE).to_numpy()
    agents = _telling(rows, CLASS, ["agent"]) & chemical
    rows.loc[agents, "agent"] = Hidden.WITHHELD.value
    take_dose(rows, agents)
    times = _telling(rows, [*CLASS, "agent"], ["applications", "seconds_each", "exposure_seconds"])
    times &= ~rows["exposure"].isin([Exposure.NOT_APPLICABLE, Hidden.WITHHELD]).to_numpy()
    take_exposure(rows, times)
    return rows, Withheld(int(agents.sum()), int(times.sum()))


def _telling(rows: pd.DataFrame, group: list[str], known: list[str]) -> np.ndarray:
    """True for every row of a group in which some value of the known columns goes with an event in all its rows.

    A group in which the known columns are all one value tells nothing more by them than it does anyway.
    """
    found = np.zeros(len(rows), dtype=np.bool_)
    sides = rows.groupby("toe_key")["side"].transform(lambda own: "+".join(sorted(own)))
    together = [rows[name] for name in group] + [sides]
    groups = rows.groupby(together, sort=False).ngroup()
    finer = rows.groupby([*together, rows["side"], *(rows[name] for name in known)], sort=False).ngroup()
    several = finer.groupby([groups, rows["side"]]).transform("nunique").groupby(groups).transform("max") > 1
    for outcome in Outcome:
        bad = rows[outcome.value] == _BAD
        all_bad = bad.groupby(finer).transform("all")
        found |= all_bad.groupby(groups).transform("any").to_numpy()
    return found & several.to_numpy()
