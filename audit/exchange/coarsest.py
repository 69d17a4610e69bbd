"""Files that tell less beside files that tell more: all brought to what every file tells. Knows no Django.

Where one practice's file says "18 and over" and the others' say "18 to 64", the wider word would be a level of its own
that only that practice has: a regression would explain the practice by it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from audit.exchange.patterns import wider_side
from audit.exchange.pooled import Member
from audit.exchange.words import AgeBand, WiderSide, WiderTechnique, YesNo

_ADULTS = {AgeBand.ADULT_18_TO_64.value, AgeBand.OVER_64.value}
_OTHER = {
    YesNo.YES.value: WiderTechnique.WITH_MATRICECTOMY.value,
    YesNo.NO.value: WiderTechnique.WITHOUT_MATRICECTOMY.value,
}


@dataclass(frozen=True)
class Coarsest:
    """The same practices, all told as widely as the one that tells least. notes: what was widened, in words."""

    members: tuple[Member, ...]
    notes: tuple[str, ...] = ()


def to_coarsest(members: Sequence[Member]) -> Coarsest:
    """Brings age, side and technique of every practice to the coarsest level that stands in any file.

    Only sides with matricectomy decide: the others are not in the comparison.
    """
    notes: list[str] = []
    every = [_counted(member.rows) for member in members]
    bands = {band for rows in every for band in rows["age_band"]}
    edges = any((rows["side"] == WiderSide.EDGE).any() for rows in every)
    named = _named_throughout(every)
    if AgeBand.ANY in bands:
        notes.append("Not adjusted for age: a file does not tell it of all patients.")
    elif AgeBand.ADULT in bands:
        notes.append("Adjusted for age as under 18 or adult: a file tells no more of all patients.")
    if edges:
        notes.append("Adjusted for whole nail or edge: a file does not tell which edge.")
    if named is not None:
        notes.append("Techniques that a file does not name stand together as one in the adjustment.")
    found = []
    for member in members:
        rows = member.rows.copy()
        rows["age_band"] = [_band(band, bands) for band in rows["age_band"]]
        rows["side"] = [wider_side(side) if edges else side for side in rows["side"]]
        if named is not None:
            rows["technique"] = _techniques(rows, named)
        found.append(replace(member, rows=rows))
    return Coarsest(tuple(found), tuple(notes))


def _counted(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[rows["matrix_destroyed"] == YesNo.YES]


def _band(band: str, there: set[str]) -> str:
    if AgeBand.ANY in there:
        return AgeBand.ANY.value
    return AgeBand.ADULT.value if AgeBand.ADULT in there and band in _ADULTS else band


def _named_throughout(every: Iterable[pd.DataFrame]) -> set[str] | None:
    """Techniques that no file hides; None where no file hides one.

    A file hides a rare technique in all its rows, so what it names is not among what it hides.
    """
    named: set[str] | None = None
    for rows in every:
        for _, own in rows.groupby("audit_year"):
            there = set(own["technique"])
            if WiderTechnique.WITH_MATRICECTOMY in there:
                named = there if named is None else named & there
    return named


def _techniques(rows: pd.DataFrame, named: set[str]) -> list[str]:
    return [
        technique if technique in named else _OTHER[destroyed]
        for technique, destroyed in zip(rows["technique"], rows["matrix_destroyed"], strict=True)
    ]
