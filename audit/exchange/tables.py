"""The fixed tables that may be published: patients by technique and agent, small counts left out. Knows no Django.

Published is what leaves the peer group, so the stricter rule holds: counts from 1 to 10 are left out, and so many
others that none can be worked out, neither from one table nor from the tables of several periods together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from audit.measures.definitions import Outcome, Status
from audit.measures.strata import technique_label
from audit.stats.cell_ranges import Table
from audit.stats.suppression import events_by_class, linked, suppress
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
    """A table of an earlier release that overlaps: the same numbers, as they were shown.

    part: whether the earlier period lies within the new one; otherwise the new one lies within the earlier.
    """

    outcome: Outcome
    lines: tuple[str, ...]
    values: tuple[tuple[int, ...], ...]
    hidden: tuple[tuple[bool, ...], ...]
    part: bool

    @classmethod
    def of(cls, kept: Mapping[str, Any], *, part: bool) -> "Given":
        """From what `to_keep` gave."""
        return cls(
            Outcome(kept["outcome"]), tuple(kept["lines"]), tuple(map(tuple, kept["values"])),
            tuple(map(tuple, kept["hidden"])), part,
        )  # fmt: skip


HEADER = ("outcome", "group", "label", "patients_with_event", "patients_without", "patients_known")


def group_code(technique: str, agent: str) -> str:
    return f"{technique}:{agent}"


def group_label(code: str) -> str:
    technique, _, agent = code.partition(":")
    return technique_label(Technique(technique), Agent(agent))


def published(
    rows: pd.DataFrame, outcome: Outcome, *, fewest: int = FEWEST_PUBLISHED, earlier: Sequence[Given] = ()
) -> Published:
    """The table of one outcome over patients whose outcome is known.

    rows: with patient_key, technique, agent and the outcome, one per side, as recorded (not widened). A patient has
    the event in a line if any side of that line has it. earlier: tables of overlapping releases, taken as known.
    """
    known = rows[rows[outcome.value].isin(_KNOWN)]
    groups = known["technique"].astype(str) + ":" + known["agent"].astype(str)
    codes = sorted({*groups, *(code for table in earlier for code in table.lines if code != "all")})
    add_up = known["patient_key"].nunique() == sum(known.groupby(groups)["patient_key"].nunique())
    add_up = add_up and all("all" in table.lines for table in earlier) and bool(codes)
    hits, totals = _counts(known, groups, codes, outcome)
    lines = tuple((code, group_label(code)) for code in codes) + ((("all", "All"),) if add_up else ())
    if not codes:
        empty = np.zeros((0, 3), dtype=np.int64)
        return Published(outcome, (), empty, empty.astype(np.bool_), fewest)
    own = events_by_class(hits, totals, add_up=add_up)
    joint, keep = _joined(own, codes, add_up, earlier)
    found = suppress(joint, fewest=fewest, keep=keep)
    size, shape = own.values.size, own.values.shape
    mask = found.mask.ravel()[:size].reshape(shape)
    return Published(outcome, lines, own.values, mask, fewest, found.withheld)


def to_keep(table: Published) -> dict[str, Any]:
    """What the practice remembers of a table it gave, as plain values."""
    hidden = np.ones_like(table.mask) if table.withheld else table.mask
    return {
        "outcome": table.outcome.value,
        "lines": [code for code, _ in table.lines],
        "values": table.values.tolist(),
        "hidden": hidden.tolist(),
    }


def _counts(known: pd.DataFrame, groups: pd.Series, codes: Sequence[str], outcome: Outcome) -> tuple[Any, Any]:
    hit = (known[outcome.value] == Status.EVENT.value).groupby([groups, known["patient_key"]]).any()
    totals = hit.groupby(level=0).size()
    hits = hit.groupby(level=0).sum()
    return [int(hits.get(code, 0)) for code in codes], [int(totals.get(code, 0)) for code in codes]


def _joined(own: Table, codes: Sequence[str], add_up: bool, earlier: Sequence[Given]) -> tuple[Table, np.ndarray]:
    """The new table tied to each earlier one: of each pair of numbers the larger is the smaller and a rest."""
    table, keep = own, np.zeros(own.values.size, dtype=np.bool_)
    table = Table(own.values.ravel(), own.sums, own.classes)
    lines = [*codes, *(["all"] if add_up else [])]
    for given in earlier:
        table, keep = _tied(table, keep, own, lines, given)
    return table, keep


def _tied(
    table: Table, keep: np.ndarray, own: Table, lines: Sequence[str], given: Given
) -> tuple[Table, np.ndarray]:  # fmt: skip
    values, hidden = _aligned(given, lines)
    size = values.size
    # The earlier table with its own sums, then one rest per number; whoever can work out a rest can work out a person.
    rest = (own.values.ravel() - values) if given.part else (values - own.values.ravel())
    if (rest < 0).any():
        # Corrected records: the two do not lie within each other any more, and only their own sums tie them.
        return linked(table, Table(values, own.sums, own.classes), []), np.append(keep, ~hidden)
    shift = table.values.size
    flat = np.concatenate([table.values, values, rest])
    place = np.arange(size)
    old = tuple((t + shift, tuple(p + shift for p in parts)) for t, parts in own.sums)
    classes = tuple((t + shift, tuple(p + shift for p in parts)) for t, parts in own.classes)
    ties = tuple(
        (int(at), (int(shift + at), int(shift + size + at)))
        if given.part else (int(shift + at), (int(at), int(shift + size + at)))
        for at in place
    )  # fmt: skip
    joined = Table(flat, table.sums + old + ties, table.classes + classes)
    return joined, np.concatenate([keep, ~hidden, np.zeros(size, dtype=np.bool_)])


def _aligned(given: Given, lines: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """The earlier numbers in the lines of the new table; a line it did not have held nobody."""
    at = {code: place for place, code in enumerate(given.lines)}
    values = [given.values[at[code]] if code in at else (0, 0, 0) for code in lines]
    hidden = [given.hidden[at[code]] if code in at else (False, False, False) for code in lines]
    return np.array(values, dtype=np.int64).ravel(), np.array(hidden, dtype=np.bool_).ravel()
