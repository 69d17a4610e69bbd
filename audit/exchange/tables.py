"""The fixed tables that may be published: patients by technique and agent, small counts left out. Knows no Django.

Published is what leaves the peer group, so the stricter rule holds: counts from 1 to 10 are left out, and so many
others that none can be worked out, neither from one table nor from the tables of several periods together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from audit.exchange.table_series import around, joined
from audit.measures.definitions import Outcome, Status
from audit.measures.strata import technique_label
from audit.stats.suppression import events_by_class, suppress
from clinic.vocabulary.procedure import Agent, Technique

# Common practice for public health statistics, no source; inside a peer group the denominators decide instead.
FEWEST_PUBLISHED = 11
LEFT_OUT = "left out"
_KNOWN = {Status.EVENT.value, Status.CLEAR.value}


@dataclass(frozen=True, eq=False)
class Published:
    """One table. lines: code and label; "all" stands last where no patient is in two lines.

    values: patients with the event, without it and in all, a row per line. mask: true where a value is left out.
    withheld: why the table is not given at all.
    """

    outcome: Outcome
    lines: tuple[tuple[str, str], ...]
    values: np.ndarray
    mask: np.ndarray
    fewest: int
    withheld: str = ""

    def texts(self) -> list[tuple[str, ...]]:
        """Outcome, line, three numbers, as text; what is left out says so."""
        found = []
        for (code, label), values, mask in zip(self.lines, self.values.tolist(), self.mask.tolist(), strict=True):
            numbers = (
                LEFT_OUT if hidden or self.withheld else str(number)
                for number, hidden in zip(values, mask, strict=True)
            )
            found.append((self.outcome.value, code, label, *numbers))
        return found


@dataclass(frozen=True)
class Given:
    """A table of an earlier release: the same numbers, as they were shown. first, last: its period, both included."""

    outcome: Outcome
    first: date
    last: date
    lines: tuple[str, ...]
    values: tuple[tuple[int, ...], ...]
    hidden: tuple[tuple[bool, ...], ...]

    @property
    def tells(self) -> bool:
        """Whether any number of it was shown."""
        return not all(all(line) for line in self.hidden)

    @classmethod
    def of(cls, kept: Mapping[str, Any], *, first: date, last: date) -> "Given":
        """From what `to_keep` gave."""
        return cls(
            Outcome(kept["outcome"]), first, last, tuple(kept["lines"]), tuple(map(tuple, kept["values"])),
            tuple(map(tuple, kept["hidden"])),
        )  # fmt: skip


HEADER = ("outcome", "group", "label", "patients_with_event", "patients_without", "patients_known")


def group_code(technique: str, agent: str) -> str:
    return f"{technique}:{agent}"


def group_label(code: str) -> str:
    technique, _, agent = code.partition(":")
    return technique_label(Technique(technique), Agent(agent))


def published(
    rows: pd.DataFrame, outcome: Outcome, *, first: date, last: date, fewest: int = FEWEST_PUBLISHED,
    earlier: Sequence[Given] = (),
) -> Published:  # fmt: skip
    """The table of one outcome over patients whose outcome is known.

    rows: with patient_key, technique, agent and the outcome, one per side, as recorded (not widened), of the period
    from first to last. A patient has the event in a line if any side of that line has it. earlier: every table that
    stands; what those show whose periods meet this one, or meet one that does, is taken as known.
    Withheld where nothing would be left, where a table of this period is of another outcome, and where an earlier
    one cannot be tied to this: counted on other records, of a period that overlaps, or with other sums.
    """
    known = rows[rows[outcome.value].isin(_KNOWN)]
    groups = known["technique"].astype(str) + ":" + known["agent"].astype(str)
    near = around(first, last, [table for table in earlier if table.tells])
    codes = sorted({*groups, *(code for table in near for code in table.lines if code != "all")})
    add_up = known["patient_key"].nunique() == sum(known.groupby(groups)["patient_key"].nunique())
    if not codes:
        empty = np.zeros((0, 3), dtype=np.int64)
        return Published(outcome, (), empty, empty.astype(np.bool_), fewest)
    own = events_by_class(*_counts(known, groups, codes, outcome), add_up=add_up)
    lines = [*codes, *(["all"] if add_up else [])]
    labels = tuple((code, "All" if code == "all" else group_label(code)) for code in lines)
    try:
        _refuse_untied(near, outcome, add_up=add_up)
        joint, keep = joined(own, lines, first, last, near)
    except ArithmeticError as reason:
        return Published(outcome, labels, own.values, np.ones_like(own.values, dtype=np.bool_), fewest, str(reason))
    found = suppress(joint, fewest=fewest, keep=keep)
    mask = found.mask.ravel()[: own.values.size].reshape(own.values.shape)
    return Published(outcome, labels, own.values, mask, fewest, found.withheld)


def to_keep(table: Published) -> dict[str, Any]:
    """What the practice remembers of a table it gave, as plain values."""
    hidden = np.ones_like(table.mask) if table.withheld else table.mask
    return {
        "outcome": table.outcome.value,
        "lines": [code for code, _ in table.lines],
        "values": table.values.tolist(),
        "hidden": hidden.tolist(),
    }


def _refuse_untied(near: Sequence[Given], outcome: Outcome, *, add_up: bool) -> None:
    """Raises ArithmeticError where a reader could tie an earlier table to the new one and the protection could not."""
    if any(table.outcome is not outcome for table in near):
        raise ArithmeticError("an earlier table of this period is of another outcome of nearly the same patients")
    if any(("all" in table.lines) != add_up for table in near):
        raise ArithmeticError("an earlier table adds up and this does not, or the other way round")


def _counts(known: pd.DataFrame, groups: pd.Series, codes: Sequence[str], outcome: Outcome) -> tuple[Any, Any]:
    hit = (known[outcome.value] == Status.EVENT.value).groupby([groups, known["patient_key"]]).any()
    totals = hit.groupby(level=0).size()
    hits = hit.groupby(level=0).sum()
    return [int(hits.get(code, 0)) for code in codes], [int(totals.get(code, 0)) for code in codes]
