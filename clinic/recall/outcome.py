"""Whether the 12-month outcome of a treated side is known, as somebody who calls patients must know it. No Django.

A side is settled when the audit would count it for regrowth and for symptomatic recurrence alike; until then it is
worth another look. A test holds this against the audit's own reading.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from clinic.schedule import TWELVE_MONTHS
from clinic.vocabulary.review import Extent, Retreatment, Symptoms

REGROWN = {term.value for term in Extent if term.regrown}
HURTS = {Symptoms.PAIN.value, Symptoms.INFECTED.value}
OPERATED_AGAIN = {Retreatment.DONE.value, Retreatment.ELSEWHERE.value}
NEVER = 10**6


@dataclass(frozen=True)
class SideSeen:
    """What one counting review found at one side; day: since the operation."""

    day: int
    extent: str
    symptoms: str
    retreatment: str


Reads = Callable[[SideSeen], bool]


@dataclass(frozen=True)
class Side:
    """One treated side. ended_day: of a re-operation or an amputation on record; None for neither."""

    grows: bool
    ended_day: int | None
    seen: tuple[SideSeen, ...]


def is_settled(side: Side) -> bool:
    """Nothing more can or need be learnt about this side at 12 months."""
    found = [each for each in side.seen if each.day > 0]
    again = min((each.day for each in found if each.retreatment in OPERATED_AGAIN), default=NEVER)
    ended = min(again, NEVER if side.ended_day is None else side.ended_day)
    if ended <= TWELVE_MONTHS.closes_day:
        return True
    own = [each for each in found if each.day <= ended]
    regrowth = not side.grows or _is_known(own, _shows_regrowth, _shows_none, again)
    return regrowth and _is_known(own, _shows_trouble, _shows_no_trouble, again)


def _is_known(found: list[SideSeen], shows: Reads, clears: Reads, again: int) -> bool:
    """Seen by the end of the window, or a clear look from its first day on and before anything was seen.

    A clear look after the window tells as well that nothing had happened, unless something was seen after it, too.
    """
    first = min((each.day for each in found if shows(each)), default=NEVER)
    if first <= TWELVE_MONTHS.closes_day:
        return True
    last = TWELVE_MONTHS.closes_day if first < NEVER else NEVER
    days = (each.day for each in found if clears(each))
    return any(TWELVE_MONTHS.opens_day <= day <= last and day < min(first, again) for day in days)


def _shows_regrowth(found: SideSeen) -> bool:
    return found.extent in REGROWN


def _shows_none(found: SideSeen) -> bool:
    return found.extent == Extent.NONE


def _shows_trouble(found: SideSeen) -> bool:
    return found.symptoms == Symptoms.INGROWTH or (found.symptoms in HURTS and found.extent in REGROWN)


def _shows_no_trouble(found: SideSeen) -> bool:
    """Pain without a look at regrowth settles nothing: whether it came with regrowth was not seen."""
    if found.symptoms in HURTS:
        return found.extent in {Extent.NONE, Extent.NOT_APPLICABLE}
    return found.symptoms == Symptoms.NONE


def is_missing(sides: Iterable[Side]) -> bool:
    """Whether the outcome of any of these sides is still to be learnt."""
    return any(not is_settled(side) for side in sides)
