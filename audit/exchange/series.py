"""What a new release would give away together with all earlier ones of the same practice. Knows no Django."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

from audit.stats.disclosure import FEWEST_ALIKE
from audit.stats.thin import check_whole

# For each patient of a release its rows, each as three digests with BETWEEN between them: which side it is of, what is
# recorded of that side, and what the release tells of it.
Contents = Mapping[str, frozenset[str]]
BETWEEN = ":"
# Beyond so many overlapping releases only singles, pairs and all together are compared.
MOST_COMBINED = 8
_Pairs = frozenset[tuple[str, str]]


@dataclass(frozen=True)
class Way:
    """How a release was protected: of which period, both days included, and with which answers."""

    first: date
    last: date
    k: int
    harmless_declared: bool

    def meets(self, other: "Way") -> bool:
        return self.first <= other.last and other.first <= self.last


def refused_beside(new: Contents, way: Way, earlier: Sequence[tuple[Contents, Way]]) -> str:
    """Why a release must not be given beside those that stand, because it protects some row in another way.

    Who lays two files of one row side by side knows more than either was allowed to tell: the age of the one and the
    side of the other. Of one period, protected alike, they tell the same, unless a correction of other rows widened
    this one differently.
    """
    for place, (contents, other) in enumerate(earlier, 1):
        if _otherwise(new, way, contents, other):
            return (
                f"it shares records with earlier file {place}, which is of another period or was protected in another "
                "way; side by side the two would tell more than each alone"
            )
    return ""


def _otherwise(new: Contents, way: Way, earlier: Contents, other: Way) -> bool:
    rows = [row for own in earlier.values() for row in own]
    if not all(BETWEEN in row for row in rows):
        # Kept by a version that did not say which sides they are of: no patient of days that both hold may be in both.
        return way.meets(other) and bool(earlier.keys() & new.keys())
    if other != way:
        return bool(_pairs(new, _who) & _pairs(earlier, _who))
    told = {_recorded(row): row for own in new.values() for row in own}
    return any(told.get(_recorded(row), row) != row for row in rows)


def refused_after(new: Contents, earlier: Sequence[Contents], fewest: int = FEWEST_ALIKE) -> str:
    """Why a release must not be given after the earlier ones; empty where it may.

    A reader may lay the new release beside any earlier one, or beside several put together, and see what is only in
    one of them. That must be nobody, or the rows of at least `fewest` patients; fewest is at least 5. Rows are the same
    if they are of the same side, and once more if they say the same as well: where a new version of this program says
    more of every side, nobody would stand out by what is said. Releases without a side in common say nothing about
    each other, and the same rows again say nothing new.
    """
    check_whole("fewest", fewest, FEWEST_ALIKE)
    near = [(place, one) for place, one in enumerate(earlier, 1) if _pairs(one, _who) & _pairs(new, _who)]
    for part in (_who, _recorded):
        if reason := _refused(_pairs(new, part), [(place, _pairs(one, part)) for place, one in near], fewest):
            return reason
    return ""


def _refused(own: _Pairs, overlapping: Sequence[tuple[int, _Pairs]], fewest: int) -> str:
    for chosen in _choices(len(overlapping)):
        together = frozenset().union(*(overlapping[at][1] for at in chosen))
        names = " and ".join(str(overlapping[at][0]) for at in chosen)
        for difference in (own - together, together - own):
            patients = len({patient for patient, _ in difference})
            if 0 < patients < fewest:
                counted = "1 patient" if patients == 1 else f"{patients} patients"
                return (
                    f"it differs from earlier file {names} in the rows of {counted}; whoever has both could tell who "
                    f"that is, so at least {fewest} are needed"
                )
    return ""


def _choices(number: int) -> list[tuple[int, ...]]:
    sizes = range(1, number + 1) if number <= MOST_COMBINED else sorted({1, 2, number})
    return [chosen for size in sizes for chosen in combinations(range(number), size)]


def _pairs(contents: Contents, part: Callable[[str], str]) -> _Pairs:
    return frozenset((patient, part(row)) for patient, rows in contents.items() for row in rows)


def _who(row: str) -> str:
    return row.partition(BETWEEN)[0]


def _recorded(row: str) -> str:
    """Which side it is of, and what is recorded of it."""
    return BETWEEN.join(row.split(BETWEEN)[:2])
