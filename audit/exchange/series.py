"""What a new release would give away together with all earlier ones of the same practice. Knows no Django."""

from collections.abc import Mapping, Sequence
from itertools import combinations

from audit.stats.disclosure import FEWEST_ALIKE
from audit.stats.thin import check_whole

# For each patient of a release the digests of its rows.
Contents = Mapping[str, frozenset[str]]
# Beyond so many overlapping releases only singles, pairs and all together are compared.
MOST_COMBINED = 8


def refused_after(new: Contents, earlier: Sequence[Contents], fewest: int = FEWEST_ALIKE) -> str:
    """Why a release must not be given after the earlier ones; empty where it may.

    A reader may lay the new release beside any earlier one, or beside several put together, and see what is only in
    one of them. That must be nobody, or the rows of at least `fewest` patients; fewest is at least 5.
    Releases without a row in common say nothing about each other, and the same rows again say nothing new.
    """
    check_whole("fewest", fewest, FEWEST_ALIKE)
    own = _pairs(new)
    overlapping = [
        (place, pairs) for place, pairs in ((at, _pairs(one)) for at, one in enumerate(earlier, 1)) if pairs & own
    ]
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


def _pairs(contents: Contents) -> frozenset[tuple[str, str]]:
    return frozenset((patient, row) for patient, rows in contents.items() for row in rows)
