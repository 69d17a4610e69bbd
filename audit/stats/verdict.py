"""The verdict against the standard, from intervals alone: met, not met or not shown. Knows numbers only."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from audit.stats.proportion import check_standard
from audit.stats.sample_size import Needed
from audit.stats.thin import check_whole


class Verdict(StrEnum):
    """Where the interval lies."""

    MET = "standard met"
    NOT_MET = "standard not met"
    NOT_SHOWN = "not shown"


# A number of units, where `sample_size` has one, or why it has none.
Enough = int | Needed | None
NOT_ASKED = Needed(None, "not asked for")
DEPENDS = "depends on unseen patients"


@dataclass(frozen=True)
class Alternative:
    """Another estimate of the same rate, or a bound, and what it alone would say.

    low, high, verdict: None where it could not be estimated.
    """

    label: str
    low: float | None
    high: float | None
    verdict: Verdict | None


@dataclass(frozen=True)
class Judgement:
    """The answer to the primary question of an audit.

    verdict: by the primary interval alone. depends: an alternative that could be estimated says something else.
    needed: units that would be enough to show it, or why there is no number; only asked for if it is NOT_SHOWN.
    reason: why the verdict is NOT_SHOWN, in words; empty otherwise.
    """

    verdict: Verdict
    standard: float
    low: float | None
    high: float | None
    alternatives: tuple[Alternative, ...] = ()
    needed: Needed = NOT_ASKED
    reason: str = ""

    @property
    def depends(self) -> bool:
        return bool(self.differing)

    @property
    def differing(self) -> tuple[Alternative, ...]:
        """The alternatives whose verdict is another one; none where there is no interval to differ from."""
        if self.low is None:
            return ()
        return tuple(one for one in self.alternatives if one.verdict not in (None, self.verdict))

    @property
    def not_compared(self) -> tuple[Alternative, ...]:
        """The alternatives that could not be estimated, so agreement with them is not known."""
        return tuple(one for one in self.alternatives if one.verdict is None)

    @property
    def words(self) -> str:
        return f"{self.verdict}; {DEPENDS}" if self.depends else str(self.verdict)


def judge(low: float, high: float, standard: float) -> Verdict:
    """The rule: met if high <= standard, not met if low > standard, else not shown.

    low, high: limits on the proportion scale, 0 <= low <= high <= 1. standard: the highest
    accepted rate, strictly between 0 and 1.
    An interval without width, as a bootstrap gives when nobody has the event, is no interval: not shown.
    Refuses with ValueError what is outside. Rule: our own choice.
    """
    _check_interval(low, high)
    check_standard(standard)
    if low == high:
        return Verdict.NOT_SHOWN
    if high <= standard:
        return Verdict.MET
    return Verdict.NOT_MET if low > standard else Verdict.NOT_SHOWN


def against_standard(
    low: float | None,
    high: float | None,
    standard: float,
    *,
    alternatives: Mapping[str, tuple[float, float] | None] | None = None,
    needed: Enough | Callable[[], Enough] = None,
    withheld: str = "",
) -> Judgement:
    """Judges the primary interval, and whether other views of the same data agree.

    low, high: the interval of the primary estimate, proportions; both None where there is none, and then `withheld`
    says why. standard: the highest accepted rate, a proportion. alternatives: by label, the interval of every other
    estimate and of both bounds; None where one could not be estimated. needed: the number of units that would be
    enough, or what works it out; called only if the verdict is NOT_SHOWN.
    Refuses with ValueError limits out of order or range, one limit without the other, and a missing reason.
    """
    check_standard(standard)
    others = tuple(_alternative(label, pair, standard) for label, pair in (alternatives or {}).items())
    if low is None or high is None:
        if low is not high:
            raise ValueError(f"low and high must both be given or both be None, not {low} and {high}")
        if not withheld:
            raise ValueError("withheld must say why there is no interval")
        return Judgement(Verdict.NOT_SHOWN, standard, None, None, others, _needed(needed), withheld)
    verdict = judge(low, high, standard)
    if verdict is not Verdict.NOT_SHOWN:
        return Judgement(verdict, standard, low, high, others)
    reason = "the interval includes the standard" if low < high else "the interval has no width"
    return Judgement(verdict, standard, low, high, others, _needed(needed), reason)


def _alternative(label: str, pair: tuple[float, float] | None, standard: float) -> Alternative:
    if pair is None:
        return Alternative(label, None, None, None)
    return Alternative(label, *pair, judge(*pair, standard))


def _needed(needed: Enough | Callable[[], Enough]) -> Needed:
    found = needed() if callable(needed) else needed
    if found is None:
        return NOT_ASKED
    return found if isinstance(found, Needed) else Needed(check_whole("needed", found, 1))


def _check_interval(low: float, high: float) -> None:
    if not (math.isfinite(low) and math.isfinite(high) and 0 <= low <= high <= 1):
        raise ValueError(f"low and high must be from 0 to 1 and in order, not {low} and {high}")
