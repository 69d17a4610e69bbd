"""What several releases, or several practices in one figure, give away together. Knows codes and counts only."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.disclosure import FEWEST_ALIKE, check_codes
from audit.stats.thin import check_whole

# With two practices each can subtract itself, and with one very large the rest is nearly known (our own choice).
FEWEST_PRACTICES = 3
LARGEST_SHARE = 0.70
# Below this a practice stands in no pooled report under its own code (our own choice).
FEWEST_OF_PRACTICE = 10


@dataclass(frozen=True)
class Difference:
    """Two releases side by side. only_first, only_second: patients in one of them only.

    refused: why both must not be given; empty where they may.
    """

    only_first: int
    only_second: int
    refused: str = ""

    @property
    def allowed(self) -> bool:
        return not self.refused


@dataclass(frozen=True)
class Others:
    """The practices of a pooled report that stand together as "others".

    together: true per practice. patients: of those together. withheld: why even together they must not be shown;
    empty where they may, or where nobody stands among them.
    """

    together: tuple[bool, ...]
    patients: int
    withheld: str = ""


def difference(first: npt.ArrayLike, second: npt.ArrayLike, fewest: int = FEWEST_ALIKE) -> Difference:
    """Whether two releases may both be given: what is in one only must be nobody or enough patients.

    first, second: codes of the patients in each, repeats allowed, may be empty. fewest: at least 5.
    Rule: Hundepohl A et al. Statistical Disclosure Control. Wiley 2012 (from memory, unverified).
    """
    check_whole("fewest", fewest, FEWEST_ALIKE)
    one, other = np.unique(check_codes("first", first)), np.unique(check_codes("second", second))
    only_first, only_second = (int(np.setdiff1d(*pair).size) for pair in ((one, other), (other, one)))
    few = [number for number in (only_first, only_second) if 0 < number < fewest]
    reason = f"they differ by {_counted(min(few))}, at least {fewest} are needed" if few else ""
    return Difference(only_first, only_second, reason)


def refused_by_log(new: npt.ArrayLike, given: Sequence[npt.ArrayLike], fewest: int = FEWEST_ALIKE) -> str:
    """Why a release must not be given after those in the log; empty where it may.

    new, given: codes of the patients in each release. fewest: at least 5. Each pair is compared; what three or more
    releases would show together is not, which is why only a fixed set of tables may leave at all.
    """
    check_whole("fewest", fewest, FEWEST_ALIKE)
    size = np.unique(check_codes("new", new)).size
    if 0 < size < fewest:
        return f"it holds {_counted(size)}, at least {fewest} are needed"
    for place, earlier in enumerate(given, start=1):
        found = difference(new, earlier, fewest)
        if not found.allowed:
            return f"with release {place} of the log: {found.refused}"
    return ""


def refused_filter(everyone: npt.ArrayLike, chosen: npt.ArrayLike, fewest: int = FEWEST_ALIKE) -> str:
    """Why a filter must be refused; empty where it may be used. It may neither leave few patients nor leave few out.

    everyone, chosen: codes of patients, chosen among everyone; ValueError otherwise. fewest: at least 5.
    """
    check_whole("fewest", fewest, FEWEST_ALIKE)
    if np.setdiff1d(check_codes("chosen", chosen), check_codes("everyone", everyone)).size:
        raise ValueError("chosen must be among everyone")
    size = np.unique(check_codes("chosen", chosen)).size
    if 0 < size < fewest:
        return f"the filter leaves {_counted(size)}, at least {fewest} are needed"
    found = difference(everyone, chosen, fewest)
    return "" if found.allowed else f"the filter leaves out {_counted(found.only_first)}, at least {fewest} or none"


def refused_cell(patients_by_practice: Sequence[int]) -> str:
    """Why a figure of several practices must not be given to them; empty where it may.

    patients_by_practice: whole numbers, 0 or more; who has nobody in the figure does not contribute.
    At least three must contribute and none may hold more than 70 % of the patients.
    """
    counts = [check_whole(f"patients_by_practice[{place}]", one) for place, one in enumerate(patients_by_practice)]
    contributing = [count for count in counts if count]
    if len(contributing) < FEWEST_PRACTICES:
        return f"{len(contributing)} contributing practices, at least {FEWEST_PRACTICES} are needed"
    share = max(contributing) / sum(contributing)
    return (
        f"one practice holds {share:.0%} of the patients, at most {LARGEST_SHARE:.0%}" if share > LARGEST_SHARE else ""
    )


def others(patients_by_practice: Sequence[int]) -> Others:
    """Which practices stand together as "others" in a pooled report: those with fewer than ten patients, and more.

    patients_by_practice: whole numbers, 0 or more; a practice without patients is left out of both.
    Where the small ones alone would not make a figure that may be given, the next larger practices join them, smallest
    first, in the order given where equal. If that takes all, the whole is judged as one figure.
    """
    counts = [check_whole(f"patients_by_practice[{place}]", one) for place, one in enumerate(patients_by_practice)]
    order = sorted((place for place, count in enumerate(counts) if count), key=lambda place: counts[place])
    number = sum(0 < count < FEWEST_OF_PRACTICE for count in counts)
    if not number:
        return Others((False,) * len(counts), 0)
    refused = _refused_together(counts, order[:number])
    while refused and number < len(order):
        number += 1
        refused = _refused_together(counts, order[:number])
    together = order[:number]
    flags = tuple(place in together for place in range(len(counts)))
    return Others(flags, sum(counts[place] for place in together), refused)


def _refused_together(counts: Sequence[int], places: Sequence[int]) -> str:
    patients = sum(counts[place] for place in places)
    if patients < FEWEST_OF_PRACTICE:
        return f"{_counted(patients)} in all, at least {FEWEST_OF_PRACTICE} are needed"
    return refused_cell([counts[place] for place in places])


def _counted(patients: int) -> str:
    return "1 patient" if patients == 1 else f"{patients} patients"
